"""Which test holds which measure to which outside value."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, TypeVar

Tag = Literal["C", "P", "M", "X", "N"]
TAGS: dict[str, str] = {
    "C": "closed form",
    "P": "published value in a public source",
    "M": "published value, quoted from memory, its arithmetic done again",
    "X": "another library",
    "N": "Linnet's own output: guards against change, proves nothing",
}
Test = TypeVar("Test", bound=Callable[..., object])


@dataclass(frozen=True)
class Check:
    """One test that holds measures to a value which is not ours."""

    test: str
    tag: Tag
    source: str
    measure_ids: tuple[str, ...]


CHECKS: list[Check] = []


def checks(tag: Tag, source: str, *measure_ids: str) -> Callable[[Test], Test]:
    """Say which measures a test checks, by what kind of value, and where that is from."""
    if tag not in TAGS:
        raise ValueError(f"tag must be one of {', '.join(TAGS)}")
    if not source or not measure_ids:
        raise ValueError("a check needs a source and at least one measure")

    def noted(test: Test) -> Test:
        name = f"{test.__module__}.{test.__qualname__}"  # type: ignore[attr-defined]
        CHECKS.append(Check(name, tag, source, measure_ids))
        return test

    return noted
