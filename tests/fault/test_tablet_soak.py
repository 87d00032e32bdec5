"""A short soak of the tablet in the suite, and the proof that its check would notice a fault."""

import copy
from typing import Any

import pytest

from tests.benchmarks.tablet_ledger import JOURNAL_S, Drawn, check
from tests.benchmarks.tablet_soak import lines, soaked
from tests.benchmarks.tablet_troubles import SHARES

TRIALS, SEED = 8, 7
COUNT, RATE_HZ, SHOWN_MS = 200, 200.0, 5000.0
NUMBERS = {"plan_id": "plan", "version": 1}


@pytest.mark.browser
def test_nothing_is_lost_or_doubled_when_everything_fails_once() -> None:
    said: list[str] = []
    found, soak = soaked(TRIALS, SEED, said.append)
    print("\n".join(lines(found, soak)))
    assert found.faults == []
    assert found.as_asked
    assert found.trials == TRIALS
    assert set(soak.troubles.counts) == set(SHARES)
    assert min(soak.troubles.counts.values()) > 0


def drawn_at(origin_ms: float, **more: Any) -> Drawn:
    """A straight line of one second, as it was injected."""
    t_ms = [SHOWN_MS + 300 + 1000 * i / RATE_HZ for i in range(COUNT)]
    x_mm, y_mm = [13.5 + 0.5 * i for i in range(COUNT)], [68.0] * COUNT
    heard_s = [i / RATE_HZ for i in range(COUNT)]
    return Drawn(origin_ms, SHOWN_MS, t_ms, x_mm, y_mm, heard_s, **more)


def document_of(drawn: Drawn, started_at: str, seq: int = 1) -> dict[str, Any]:
    """The trial as a faultless tablet would send it."""
    return {
        "plan": NUMBERS | {"seq": seq},
        "seq": seq,
        "started_at": started_at,
        "ended_by": "stop_target",
        "samples": {
            "t_ms": [t_ms - drawn.shown_ms for t_ms in drawn.t_ms],
            "x_mm": list(drawn.x_mm),
            "y_mm": list(drawn.y_mm),
        },
    }


DRAWN = drawn_at(0.0, finished=True)
KEPT = document_of(DRAWN, "1970-01-01T00:00:05.000Z")


def without(index: int) -> dict[str, Any]:
    changed = copy.deepcopy(KEPT)
    for column in changed["samples"].values():
        del column[index]
    return changed


def moved(index: int, by_mm: float) -> dict[str, Any]:
    changed = copy.deepcopy(KEPT)
    changed["samples"]["y_mm"][index] += by_mm
    return changed


def repeated(index: int) -> dict[str, Any]:
    changed = copy.deepcopy(KEPT)
    for column in changed["samples"].values():
        column.insert(index, column[index])
    return changed


def test_a_faultless_record_is_found_so() -> None:
    found = check([DRAWN], [KEPT])
    assert found.as_asked
    assert (found.trials, found.samples, found.faults) == (1, COUNT, [])


@pytest.mark.parametrize(
    ("kept", "count"),
    [
        ([], "lost"),
        ([KEPT, KEPT], "doubled"),
        ([KEPT, KEPT | {"started_at": "1970-01-01T00:00:05.003Z"}], "unknown"),
        ([KEPT, KEPT | {"started_at": "1970-01-01T00:00:05.003Z"}], "numbers_twice"),
        ([without(0)], "samples_lost"),
        ([without(100)], "samples_lost"),
        ([without(COUNT - 1)], "samples_lost"),
        ([moved(50, 0.05)], "samples_lost"),
        ([moved(50, 0.05)], "samples_added"),
        ([repeated(50)], "samples_added"),
    ],
)
def test_every_fault_of_a_record_is_noticed(kept: list[dict[str, Any]], count: str) -> None:
    found = check([DRAWN], kept)
    assert getattr(found, count) == 1
    assert len(found.faults) > 0
    assert not found.as_asked


def test_no_trial_at_all_is_no_success() -> None:
    assert not check([], []).as_asked


def test_what_a_killed_browser_cut_off_is_asked_for_only_up_to_the_journal() -> None:
    # [C] What was heard in the first 0.75 s is older than the journal's limit at the kill.
    cut = drawn_at(0.0, killed_s=0.75 + JOURNAL_S)
    due = sum(heard_s < 0.75 for heard_s in cut.heard_s)
    assert len(cut.needed()) == due == 150
    kept = KEPT | {"ended_by": "interrupted"}
    for count in (due, COUNT):
        part = {name: column[:count] for name, column in KEPT["samples"].items()}
        assert check([DRAWN, cut], []).interrupted_lost == 1
        assert check([cut], [kept | {"samples": part}]).interrupted_lost == 0
    short = {name: column[: due - 1] for name, column in KEPT["samples"].items()}
    assert check([cut], [kept | {"samples": short}]).interrupted_lost == 1
    # A trial that ended by itself before the kill has all its samples, or it is not whole.
    assert check([cut], [KEPT]).interrupted_lost == 0
    assert check([cut], [without(COUNT - 1)]).interrupted_lost == 1
