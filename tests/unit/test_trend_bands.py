"""The band a series is read against: baseline sessions, else repeat trials, else none."""

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from matplotlib.collections import FillBetweenPolyCollection
from matplotlib.figure import Figure

from analysis.registry import measure
from server.figures import render, trend_figure
from server.page_trend import trend_words
from server.trend_bands import (
    BASELINE,
    NO_BASELINES,
    REPEATS,
    band_of,
    baseline_count,
    is_about,
    least_change,
)
from server.trend_series import Series
from tests.drawings import FIRST_DAY, series

DISTANCE = measure("deviation_mean_abs")
# Five pairs whose second trial is 1, 2, 3, 4 and 5 mm more than the first.
PAIRS = tuple((10.0, 10.0 + step) for step in (1.0, 2.0, 3.0, 4.0, 5.0))
# [C] SD of 1..5 is sqrt 2.5; SEM = SD / sqrt 2; 1.96 sqrt 2 SEM = 1.96 SD.
LEAST_MM = 1.96 * 2.5**0.5

ASKED = {
    "hand": "right",
    "direction": "left_to_right",
    "corridor_mm": 12.0,
    "tool": "stylus",
    "position": "seated",
    "guide_id": "g1-12.0",
}


def with_pairs(count: int = 5) -> Series:
    return replace(series([6.0, 5.0, 4.0]), repeats=PAIRS[:count])


def bands(figure: Figure) -> list[FillBetweenPolyCollection]:
    found = figure.findobj(lambda artist: artist.get_gid() == "baseline")
    return [one for one in found if isinstance(one, FillBetweenPolyCollection)]


def test_five_pairs_give_the_least_change_and_four_do_not() -> None:
    assert least_change(with_pairs()) == pytest.approx(LEAST_MM)
    assert least_change(with_pairs(4)) is None
    equal = replace(series([1.0]), repeats=((1.0, 2.0),) * 5)
    assert least_change(equal) is None


def test_the_band_of_repeat_trials_lies_around_the_first_session() -> None:
    band = band_of(with_pairs())
    assert band is not None
    assert (band.kind, band.middle) == (REPEATS, 6.0)
    assert (band.low, band.high) == pytest.approx((6.0 - LEAST_MM, 6.0 + LEAST_MM))
    assert band_of(with_pairs(4)) is None


def test_three_baseline_sessions_go_before_repeat_trials_and_two_do_not() -> None:
    one = replace(series([10.0, 12.0, 11.0, 9.0, 13.0, 20.0]), repeats=PAIRS)
    # [P] MEASURES: baseline 10, 12, 11, 9, 13 gives mean 11 and 7.838 to 14.162.
    until = FIRST_DAY + timedelta(weeks=4)
    assert baseline_count(one, until) == 5
    band = band_of(one, until)
    assert band is not None
    assert (band.kind, band.middle) == (BASELINE, 11.0)
    assert (band.low, band.high) == pytest.approx((7.838, 14.162), abs=5e-4)
    short = band_of(one, FIRST_DAY + timedelta(weeks=1))
    assert short is not None
    assert short.kind == REPEATS
    assert baseline_count(one, FIRST_DAY - timedelta(days=1)) == 0


def test_the_band_is_drawn_hatched_where_it_lies_and_only_if_there_is_one() -> None:
    assert bands(trend_figure([with_pairs(4)], DISTANCE)) == []
    figure = trend_figure([with_pairs(), replace(series([3.0]), hand="left")], DISTANCE)
    (band,) = bands(figure)
    assert band.get_hatch()
    ends = band.get_paths()[0].get_extents().get_points()[:, 1]
    assert tuple(ends) == pytest.approx((6.0 - LEAST_MM, 6.0 + LEAST_MM))
    low, high = band.axes.get_ylim()
    assert low < 6.0 - LEAST_MM
    assert high > 6.0 + LEAST_MM


def test_a_picture_with_a_band_is_the_same_for_the_same_sessions() -> None:
    made = [render(trend_figure([with_pairs()], DISTANCE), "svg") for _ in range(2)]
    assert made[0] == made[1]


def test_the_key_names_the_band_that_is_drawn() -> None:
    def keys(pairs: int) -> set[str]:
        (legend,) = trend_figure([with_pairs(pairs)], DISTANCE).legends
        return {text.get_text() for text in legend.get_texts()}

    assert "first session ± spread of repeat trials" in keys(5)
    assert "first session ± spread of repeat trials" not in keys(4)


@pytest.mark.parametrize(
    ("conditions", "task_name", "expected"),
    [
        ({}, None, True),
        ({}, "High Bridge", True),
        ({}, "Swell", False),
        (ASKED, "High Bridge", True),
        (ASKED | {"hand": "left"}, None, False),
        (ASKED | {"hand": "free"}, None, False),
        (ASKED | {"direction": "right_to_left"}, None, False),
        (ASKED | {"corridor_mm": 8.0}, None, False),
        (ASKED | {"tool": "finger"}, None, False),
        (ASKED | {"position": "standing"}, None, False),
        (ASKED | {"guide_id": "another"}, None, False),
    ],
)
def test_a_goal_is_about_series_of_its_conditions_only(
    conditions: dict[str, Any], task_name: str | None, expected: bool
) -> None:
    assert is_about(conditions, task_name, series([6.0])) is expected


def test_what_a_series_does_not_know_is_no_width_and_no_way() -> None:
    dots = replace(series([6.0]), corridor_mm=None, travelled=None)
    assert is_about({"direction": "downward", "hand": "right"}, None, dots)
    assert not is_about({"corridor_mm": 12.0}, None, dots)


def test_each_series_has_the_band_of_its_own_goal() -> None:
    right = series([10.0, 12.0, 11.0, 9.0])
    left = replace(right, hand="left")
    figure = trend_figure([right, left], DISTANCE)
    assert bands(figure) == []
    until = {left: FIRST_DAY + timedelta(weeks=2)}
    figure = trend_figure([right, left], DISTANCE, until=until)
    assert len(bands(figure)) == 1
    told = trend_words("c", DISTANCE, [right, left], [], until)
    assert told is not None
    assert [line.band.startswith("mean ± 2 SD") for line in told["spread"]] == [False, True]


def test_the_page_says_why_there_is_no_band_and_whether_a_change_is_beyond_the_spread() -> None:
    told = trend_words("c", DISTANCE, [with_pairs(4), with_pairs()], [], NO_BASELINES)
    assert told is not None
    none, some = told["spread"]
    assert none.band == "no band: four pairs of repeat trials, five are needed"
    assert (none.least, none.change.replace("\N{NO-BREAK SPACE}", " ")) == ("", "−2.0 mm")
    # [C] 6 to 4 mm is less than 3.1 mm.
    assert some.change.endswith("within the spread")
    far = trend_words("c", DISTANCE, [replace(series([9.0, 4.0]), repeats=PAIRS)], [], NO_BASELINES)
    assert far is not None
    assert far["spread"][0].change.endswith("beyond the spread")
