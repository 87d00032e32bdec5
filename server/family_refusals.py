"""What is not printed for a family: the child's code, percentages, and too many words."""

import re
import unicodedata
from collections.abc import Mapping

from server.tables import Child

PERCENT = "There is a percentage here. Say it without: families get no percentages."
CODE = "The child's code stands here. It is not printed: write the name that the family uses."
# What a text area takes.
MOST_LETTERS = 800
LONG = f"Say less: no more than {MOST_LETTERS} letters fit here."
AGAIN = "Nothing was printed. Look at what is said beside the fields."

# "Per centimetre" is none.
PERCENT_WORDS = re.compile(r"[%‰]|\bpercent|\bper[\s-]+cent(?:s|um|ages?|iles?)?\b")
BETWEEN = r"[\W_]*"
# A shorter number is in every second sentence, as a count.
LEAST_DIGITS = 4


def refused_texts(texts: Mapping[str, str], code: str) -> dict[str, str]:
    """Return the sentence beside each text that holds what no family page may hold.

    Parameters
    ----------
    texts : mapping
        Texts by the name of their field.
    code : str
        Of the child; found in small letters and with other signs between its parts too.

    Returns
    -------
    dict
        By the name of the field; empty if all may be printed.
    """
    found = {}
    for name, text in texts.items():
        if holds_code(text, code):
            found[name] = CODE
        elif PERCENT_WORDS.search(_plain(text)):
            found[name] = PERCENT
        elif len(text) > MOST_LETTERS:
            found[name] = LONG
    return found


def holds_code(text: str, code: str) -> bool:
    """Return whether a text holds a child's code, however it is written.

    A code of one to three digits and nothing else is not sought.

    Examples
    --------
    >>> holds_code("Bring bw 01 along.", "BW-01"), holds_code("A bow.", "BW-01")
    (True, False)
    >>> holds_code("Gull drew 12 lines.", "12"), holds_code("Ask for 1012.", "1012")
    (False, True)
    """
    digits = "".join(re.findall(r"[^\W_]", _plain(code)))
    if digits.isdigit() and len(digits) < LEAST_DIGITS:
        return False
    return _is_in(text, code)


def _is_in(text: str, code: str) -> bool:
    if not any(sign.isdigit() for sign in code):
        # A code like a word is sought as it is written; one letter is in every sentence.
        asked = re.escape(code.strip())
        return len(code.strip()) > 1 and _stands_in(asked, text)
    parts = re.findall(r"[^\W_]+", _plain(code))
    return _stands_in(BETWEEN.join(re.escape(part) for part in parts), _plain(text))


def _stands_in(asked: str, text: str) -> bool:
    return re.search(rf"(?<![^\W_]){asked}(?![^\W_])", text) is not None


def _plain(text: str) -> str:
    return unicodedata.normalize("NFKC", text).casefold()


def name_for_family(child: Child) -> str | None:
    """Return what a child is called on the page; None if there is no name that may stand there."""
    nickname = child.nickname
    # A name holds no counts: there a short number is the code.
    return None if nickname is None or _is_in(nickname, child.code) else nickname
