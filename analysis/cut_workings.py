"""Everything the measures of one cut piece share, computed once."""

from collections.abc import Callable


class CutWorkings:
    """Shared steps of the measures of one cut edge."""


CUT_NEEDS: dict[str, tuple[str, Callable[[CutWorkings], bool]]] = {}
"""Name of each need: the reason code when it is not met, and the test."""
