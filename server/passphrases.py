"""Rules for a new pass-phrase, and its one form for hashing.

They follow NIST SP 800-63B-4 (2025), section 3.1.1.2: a password that is the only factor has
at least 15 characters, each code point counts as one, no rules of composition, nothing is cut
off, no change by the calendar, and what is on a list of common or expected ones is refused.
From memory: that at least 64 characters have to be allowed, and that the text is normalised
before hashing (NFKC here). Ours, without a source: the longest length, the least score that
zxcvbn must give, and the rule on the main part.

The rules hold for new pass-phrases. Signing in only compares.
"""

from unicodedata import normalize

from server.faults import Fault
from server.problems import Problem

LEAST_CHARACTERS = 15
MOST_CHARACTERS = 256
LEAST_SCORE = 3
# Some texts of 72 characters take zxcvbn two seconds, of 32 a third of one. A weak beginning
# refuses the whole pass-phrase: that is the safe side.
SCORED_CHARACTERS = 32
OWN_NAME = "linnet"

TOO_SHORT = (
    f"A pass-phrase has at least {LEAST_CHARACTERS} characters. Four words in a row, with "
    "spaces, are good."
)
TOO_LONG = f"A pass-phrase has at most {MOST_CHARACTERS} characters."
EXPECTED = "The account's name, or the word linnet, may not be the main part of a pass-phrase."
COMMON = (
    "This pass-phrase is easily guessed. Take four or more words that have nothing to do with "
    "each other."
)


def normalised(passphrase: str) -> str:
    """Return a pass-phrase as it is hashed: the same on every keyboard (NFKC)."""
    return normalize("NFKC", passphrase)


def weakness(passphrase: str, name: str) -> str | None:
    """Return why a pass-phrase may not be used, in a sentence, or None.

    Parameters
    ----------
    passphrase : str
        As typed.
    name : str
        Name of its account.

    Returns
    -------
    str or None
        A sentence that does not quote the pass-phrase.
    """
    text = normalised(passphrase)
    if len(text) < LEAST_CHARACTERS:
        return TOO_SHORT
    if len(text) > MOST_CHARACTERS:
        return TOO_LONG
    if _is_mostly(text, (name, OWN_NAME)):
        return EXPECTED
    return COMMON if _score(text, name) < LEAST_SCORE else None


def require_good(passphrase: str, name: str, path: str) -> None:
    """Refuse a new pass-phrase that breaks a rule.

    Raises
    ------
    Problem
        422, with the place `path` in the request.
    """
    why = weakness(passphrase, name)
    if why is not None:
        raise Problem(422, errors=[Fault(path, why)])


def _is_mostly(text: str, words: tuple[str, ...]) -> bool:
    whole = rest = text.casefold()
    for word in words:
        rest = rest.replace(normalised(word).casefold(), "")
    return len(rest) * 2 < len(whole)


def _score(text: str, name: str) -> int:
    # Its lists of words take a moment to load; only those who choose a pass-phrase need them.
    from zxcvbn import zxcvbn

    score: int = zxcvbn(text[:SCORED_CHARACTERS], [name, OWN_NAME])["score"]
    return score
