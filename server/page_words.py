"""What desk pages say in the same words: a child, and the trials that came in."""

from typing import NamedTuple

from server.dates import MONTHS
from server.store_counts import CameIn
from server.tables import Child
from server.wording import plural

PREFERRED = {
    "left": "prefers the left hand, as reported",
    "right": "prefers the right hand, as reported",
    "mixed": "uses both hands, as reported",
}


class ChildWords(NamedTuple):
    """A child by random id, nickname (else code) and the two pictures of its sign."""

    id: str
    name: str
    signs: list[str]
    sign_words: str
    about: str


def child_words(child: Child) -> ChildWords:
    """Return what pages say of a child."""
    signs = child.sign.split()
    about = [child.code, PREFERRED.get(child.preferred_hand or "", "preferred hand not known")]
    if child.birth_month:
        year, month = child.birth_month.split("-")
        about.append(f"born {MONTHS[int(month) - 1]} {year}")
    return ChildWords(
        child.id, child.nickname or child.code, signs, " and ".join(signs), " · ".join(about)
    )


def trial_words(came: CameIn, *, verb: bool = False) -> str:
    """Say how many trials came in, and how many of them are voided or were not done.

    Parameters
    ----------
    came : CameIn
        From `server.store_counts`.
    verb : bool
        Whether a sentence begins with them: then it says that they have come in.

    Examples
    --------
    >>> trial_words(CameIn(8, 1, 0)), trial_words(CameIn(0, 0, 0))
    ('8 trials, 1 voided', 'no trials')
    >>> trial_words(CameIn(1, 0, 1), verb=True)
    '1 trial has come in, 1 not done'
    """
    said = f"{came.all or 'no'} {plural('trial', came.all)}"
    if verb:
        said += " has come in" if came.all == 1 else " have come in"
    voided = f", {came.voided} voided" if came.voided else ""
    return said + voided + (f", {came.not_done} not done" if came.not_done else "")
