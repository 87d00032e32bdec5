"""Pen strokes standing for snips, against counts and lengths known by construction."""

from itertools import pairwise

import numpy as np
import pytest

from analysis.guide import Guide
from analysis.registry import measure_all
from analysis.trace import FloatArray
from analysis.value import Value
from analysis.workings import Workings
from tests.checked import checks
from tests.known import RATES_HZ, trial

LINE = Guide.from_points([[0, 50], [100, 50]], corridor_mm=12)


def at_speed(stops_mm: list[float], rate_hz: float, rest_s: float, speed_mm_s: float) -> FloatArray:
    """Places on the line at even speed from stop to stop, resting at those between."""
    pieces: list[FloatArray] = []
    for at, (a, b) in enumerate(pairwise(stops_mm)):
        if at:
            pieces.append(np.full(round(rest_s * rate_hz), a))
        count = round(abs(b - a) / speed_mm_s * rate_hz)
        pieces.append(np.linspace(a, b, count + 1)[: None if at == len(stops_mm) - 2 else -1])
    return np.concatenate(pieces)


def found_of(
    x_mm: FloatArray, rate_hz: float, stroke: FloatArray | None = None, mode: str = "cut"
) -> dict[str, Value]:
    xy_mm = np.column_stack([x_mm, 0 * x_mm + 51])
    t_s = 0.5 + np.arange(len(x_mm)) / rate_hz
    strokes = None if stroke is None else stroke.astype(np.int64)
    return measure_all(Workings(trial(LINE, xy_mm, t_s, strokes, mode=mode)))


def number(found: dict[str, Value], name: str) -> float:
    value = found[name].number
    assert value is not None, (name, found[name].reason)
    return value


@checks(
    "C",
    "five runs of 20 mm with rests of 0.5 s",
    "snip_count",
    "snip_length_median",
    "cut_reversal_count",
)
@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_rests_part_one_line_into_snips(rate_hz: int) -> None:
    found = found_of(at_speed([0, 20, 40, 60, 80, 100], rate_hz, 0.5, 30), rate_hz)
    assert number(found, "snip_count") == 5
    assert number(found, "snip_length_median") == pytest.approx(20, abs=0.3)
    assert number(found, "cut_reversal_count") == 0


@checks("C", "rests of 0.1 s are no pauses", "snip_count", "snip_length_median")
@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_a_rest_too_short_for_a_pause_parts_nothing(rate_hz: int) -> None:
    found = found_of(at_speed([0, 20, 40, 60, 80, 100], rate_hz, 0.1, 30), rate_hz)
    assert number(found, "snip_count") == 1
    assert number(found, "snip_length_median") == pytest.approx(100, abs=1e-6)


@checks("C", "four strokes of 10, 20, 30 and 40 mm, and a dot", "snip_count", "snip_length_median")
@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_lifts_part_snips_and_a_dab_is_none(rate_hz: int) -> None:
    ends = [0.0, 10.0, 30.0, 60.0, 100.0]
    pieces = [np.linspace(a, b, round((b - a) / 30 * rate_hz) + 1) for a, b in pairwise(ends)]
    pieces.append(98.5 + np.linspace(0, 1.5, rate_hz // 10))  # 1.5 mm: below the shortest snip
    stroke = np.repeat(np.arange(5), [len(piece) for piece in pieces])
    found = found_of(np.concatenate(pieces), rate_hz, stroke)
    assert number(found, "snip_count") == 4
    assert number(found, "snip_length_median") == pytest.approx(25.0, abs=1e-6)


@checks(
    "C",
    "50 mm forward, 10 back, 60 forward without a rest",
    "snip_count",
    "snip_length_median",
    "cut_reversal_count",
)
@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_going_back_parts_snips_and_is_counted(rate_hz: int) -> None:
    found = found_of(at_speed([0, 50, 40, 100], rate_hz, 0.0, 30), rate_hz)
    assert number(found, "snip_count") == 2
    assert number(found, "snip_length_median") == pytest.approx(55, abs=0.3)
    assert number(found, "cut_reversal_count") == 1


@checks("C", "a wobble of 1.5 mm back is no reversal", "cut_reversal_count", "snip_count")
def test_a_small_step_back_is_no_reversal() -> None:
    found = found_of(at_speed([0, 50, 48.5, 100], 120, 0.0, 30), 120)
    assert number(found, "cut_reversal_count") == 0
    assert number(found, "snip_count") == 1
    assert number(found, "snip_length_median") == pytest.approx(100, abs=1e-6)


@checks("C", "the whole line the other way", "snip_count", "snip_length_median")
def test_a_line_cut_the_other_way_has_its_snips_too() -> None:
    found = found_of(100 - at_speed([0, 40, 100], 120, 0.5, 30), 120)
    assert number(found, "snip_count") == 2
    assert number(found, "snip_length_median") == pytest.approx(50, abs=0.3)


@checks("C", "reasons by definition", "snip_count", "snip_length_median", "cut_reversal_count")
def test_strokes_that_cannot_be_measured_say_why() -> None:
    still = found_of(np.full(120, 20.0), 120)
    assert number(still, "snip_count") == 0
    assert still["snip_length_median"].reason == "too_little_traced"
    slow = found_of(at_speed([0, 50, 40, 100], 40, 0.0, 30), 40)
    assert slow["snip_count"].reason == "rate_too_low"
    assert number(slow, "cut_reversal_count") == 1
    nothing = found_of(np.zeros(0), 120)
    assert nothing["cut_reversal_count"].reason == "no_samples"
    x_mm = np.linspace(0, 100, 400)
    timeless = Workings(trial(LINE, np.column_stack([x_mm, 0 * x_mm + 50]), None, mode="cut"))
    assert measure_all(timeless)["snip_count"].reason == "no_time"
    assert "snip_count" not in found_of(x_mm, 120, mode="trace")
