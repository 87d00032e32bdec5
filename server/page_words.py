"""A child as desk pages name it."""

from typing import NamedTuple

from server.tables import Child

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
        about.append(f"born {child.birth_month}")
    return ChildWords(
        child.id, child.nickname or child.code, signs, " and ".join(signs), " · ".join(about)
    )
