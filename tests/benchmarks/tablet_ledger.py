"""What was drawn in a soak of the tablet, kept apart from the tablet, and held against the record.

A trial is found again by the moment at which its guide was shown, a sample by its time on
the page's clock and its place; nothing that the page says of itself is taken for granted.
"""

import json
import sqlite3
import zlib
from collections import Counter
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

SAME_MOMENT_MS = 2.0
"""Started at is kept in whole milliseconds."""
SAME_TIME_MS = 1.0
SAME_PLACE_MM = 0.02
JOURNAL_S = 4.5
"""What is older than this when a browser is killed must have been written down."""


@dataclass
class Drawn:
    """One trial as it was injected; `heard_s` is when the page had handled each sample."""

    origin_ms: float
    shown_ms: float
    t_ms: list[float] = field(default_factory=list)
    x_mm: list[float] = field(default_factory=list)
    y_mm: list[float] = field(default_factory=list)
    heard_s: list[float] = field(default_factory=list)
    finished: bool = False
    """The page has thanked for it or has ended it."""
    killed_s: float | None = None
    """When the browser was killed, if it was before the next trial."""

    def needed(self) -> list[int]:
        """Samples that must be in the record."""
        if self.finished or self.killed_s is None:
            return list(range(len(self.t_ms)))
        until_s = self.killed_s - JOURNAL_S
        return [i for i, heard_s in enumerate(self.heard_s) if heard_s < until_s]


@dataclass
class Findings:
    """Counts of a check; `faults` says each fault in words."""

    trials: int = 0
    samples: int = 0
    lost: int = 0
    doubled: int = 0
    unknown: int = 0
    samples_lost: int = 0
    samples_added: int = 0
    interrupted: int = 0
    interrupted_lost: int = 0
    numbers_twice: int = 0
    faults: list[str] = field(default_factory=list)

    @property
    def as_asked(self) -> bool:
        """Whether nothing is lost or doubled, of trials that a killed browser cut off too."""
        lost = self.lost + self.samples_lost + self.interrupted_lost
        more = self.doubled + self.unknown + self.samples_added + self.numbers_twice
        return self.trials > 0 and lost + more == 0


def documents(file: Path, before: set[str]) -> list[dict[str, Any]]:
    """Trial documents on disk that are not among `before`, read past the server."""
    with sqlite3.connect(file) as disk:
        rows = disk.execute("SELECT id, raw FROM trial ORDER BY arrival").fetchall()
    return [json.loads(zlib.decompress(raw)) for name, raw in rows if name not in before]


def shown_at_ms(document: dict[str, Any]) -> float:
    """Moment at which the guide was shown, since 1970. [ms]"""
    return 1000 * datetime.fromisoformat(document["started_at"]).timestamp()


def compare(drawn: Drawn, document: dict[str, Any]) -> tuple[set[int], int]:
    """Indices of the injected samples that are in a document, and how many others are."""
    samples = document["samples"]
    found: set[int] = set()
    strange = 0
    at = 0
    for t_ms, x_mm, y_mm in zip(samples["t_ms"], samples["x_mm"], samples["y_mm"], strict=True):
        while at < len(drawn.t_ms) and drawn.t_ms[at] - drawn.shown_ms < t_ms - SAME_TIME_MS:
            at += 1
        here = at < len(drawn.t_ms) and (
            abs(drawn.t_ms[at] - drawn.shown_ms - t_ms) <= SAME_TIME_MS
            and abs(drawn.x_mm[at] - x_mm) <= SAME_PLACE_MM
            and abs(drawn.y_mm[at] - y_mm) <= SAME_PLACE_MM
        )
        if here:
            found.add(at)
            at += 1
        else:
            strange += 1
    return found, strange


def _check_one(drawn: Drawn, kept: list[dict[str, Any]], name: str, result: Findings) -> None:
    if len(kept) > 1:
        result.doubled += 1
        result.faults.append(f"{name}: stored {len(kept)} times")
    needed = drawn.needed()
    if not kept:
        if drawn.finished:
            result.lost += 1
            result.faults.append(f"{name}: not stored")
        elif needed:
            result.interrupted_lost += 1
            result.faults.append(f"{name}: cut off by a killed browser, nothing stored")
        return
    found, strange = compare(drawn, kept[0])
    missing = [i for i in needed if i not in found]
    result.samples_added += strange
    if drawn.finished:
        result.trials += 1
        result.samples += len(needed)
        result.samples_lost += len(missing)
    else:
        result.interrupted += 1
        # It may have ended by itself before the kill; then all of it must be there.
        cut = kept[0]["ended_by"] != "interrupted" and len(found) < len(drawn.t_ms)
        result.interrupted_lost += bool(missing) or cut
    if missing or strange:
        result.faults.append(
            f"{name}: {len(missing)} of {len(needed)} samples missing, {strange} strange, "
            f"ended by {kept[0]['ended_by']}"
        )


def check(ledger: list[Drawn], kept: list[dict[str, Any]]) -> Findings:
    """Hold the record against the ledger."""
    result = Findings()
    left = list(kept)
    for number, drawn in enumerate(ledger, 1):
        at_ms = drawn.origin_ms + drawn.shown_ms
        own = [one for one in left if abs(shown_at_ms(one) - at_ms) <= SAME_MOMENT_MS]
        left = [one for one in left if one not in own]
        _check_one(drawn, own, f"trial {number}", result)
    result.unknown = len(left)
    result.faults += [f"stored, but never drawn: started {one['started_at']}" for one in left]
    numbers = Counter((one["plan"]["plan_id"], one["seq"]) for one in kept)
    twice = [seq for (_, seq), count in numbers.items() if count > 1]
    result.numbers_twice = len(twice)
    result.faults += [f"two trials have the number {seq}" for seq in twice]
    return result
