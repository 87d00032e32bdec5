"""The words that other doors take: measures with their units, picture signs."""

from typing import Any

from fastapi import APIRouter

from server.deps import SignedIn
from server.signs import SIGNS

router = APIRouter(prefix="/api")


@router.get("/measures")
def read_measures(_account: SignedIn) -> dict[str, Any]:
    """Return every measure: label, unit, definition, reasons to refuse, source."""
    # The analysis takes a second to load; nothing else here needs it.
    from analysis.registry import MEASURES
    from server.measure_rows import measure_row

    return {"measures": [measure_row(measure) for measure in MEASURES]}


@router.get("/signs")
def read_signs(_account: SignedIn) -> dict[str, list[str]]:
    """Return the picture signs, two of which stand for a child."""
    return {"signs": list(SIGNS)}
