"""Pictures: the same for the same trial, right for every kind of trial, honest about scale."""

import re
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from pathlib import Path

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection, PathCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, Rectangle
from matplotlib.text import Text

from analysis.registry import measure
from server.figures import render, trend_figure, trial_figure
from server.figures_marks import pause_area_pt2
from tests import drawings
from tests.drawings import ALL, FIRST_DAY, series

ROOT = Path(__file__).parents[2]
PRINT_ONE = (
    "import sys; from tests.drawings import good; from server.figures import render, trial_figure; "
    "sys.stdout.buffer.write(render(trial_figure(*good()), 'svg'))"
)


def artists(figure: Figure, gid: str) -> list[object]:
    return figure.findobj(lambda artist: artist.get_gid() == gid)


def counted(figure: Figure) -> Counter[str]:
    return Counter(a.get_gid() for a in figure.findobj() if a.get_gid() is not None)


def words(figure: Figure) -> list[str]:
    found = [text.get_text() for text in figure.findobj(Text) if text.get_visible()]
    return [text.replace("\N{NO-BREAK SPACE}", " ") for text in found if text]


def axes_of(figure: Figure, gid: str) -> list[Axes]:
    return [axes for axes in figure.axes if axes.findobj(lambda a: a.get_gid() == gid)]


def picture(figure: Figure) -> Axes:
    return figure.axes[0]


@cache
def drawn(name: str) -> drawings.Drawing:
    """A drawing with its report, computed once; a figure only reads it."""
    return ALL[name]()


@pytest.mark.parametrize("name", ALL)
def test_every_kind_of_trial_draws_and_equal_trials_give_equal_bytes(name: str) -> None:
    first, second = (render(trial_figure(*one), "svg") for one in (drawn(name), ALL[name]()))
    assert first == second
    assert first.startswith(b"<?xml")
    assert len(first) < 900_000


@pytest.mark.parametrize("kind", ["svg", "png", "pdf"])
def test_a_file_says_nothing_of_the_day_or_the_program(kind: str) -> None:
    figure = trial_figure(*drawings.good())
    first, second = render(figure, kind), render(figure, kind)  # type: ignore[arg-type]
    assert first == second
    for word in (b"Matplotlib v", b"matplotlib.org", b"CreationDate", b"dc:date"):
        assert word not in first


def test_the_bytes_do_not_depend_on_the_process_or_its_hash_seed() -> None:
    elsewhere = subprocess.run(
        [sys.executable, "-c", PRINT_ONE],
        cwd=ROOT,
        env={"PYTHONHASHSEED": "1", "PATH": "/usr/bin"},
        capture_output=True,
        check=True,
    ).stdout
    assert elsewhere == render(trial_figure(*drawings.good()), "svg")


def test_threads_and_foreign_settings_change_nothing() -> None:
    alone = render(trial_figure(*drawings.good()), "svg")
    with mpl.rc_context({"lines.linewidth": 9.0, "font.size": 30.0, "svg.hashsalt": "other"}):
        with ThreadPoolExecutor(4) as pool:
            made = list(pool.map(lambda _: render(trial_figure(*drawings.good()), "svg"), range(6)))
        assert mpl.rcParams["font.size"] == 30.0
    assert set(made) == {alone}


def test_a_picture_loads_nothing() -> None:
    svg = render(trial_figure(*drawings.good()), "svg").decode()
    assert set(re.findall(r'href="([^"#][^"]*)"', svg)) == set()
    assert "url(http" not in svg
    assert "<script" not in svg
    with pytest.raises(ValueError, match="svg, png, pdf"):
        render(trial_figure(*drawings.good()), "gif")  # type: ignore[arg-type]


# What is drawn

EXPECTED = {
    # Two circles for a pause and two lines for a departure: on the picture and on the speed.
    "good": {"pause": 2, "departure": 2, "crossing": 1, "midline": 2, "start": 1, "stop": 1},
    "clean": {"zone": 1, "pause": 2, "departure": 0, "crossing": 1, "lift": 0, "not_drawn": 0},
    "nothing": {"trace": 0, "speed": 0, "start": 1, "stop": 1, "midline": 1, "colour_bar": 0},
    "half": {"trace": 1, "crossing": 0, "not_drawn": 1},
    # Arrows at three places of the one stroke.
    "other_way": {"way": 3, "crossing": 1},
    "scribble": {"way": 0, "trace": 1},
    "no_times": {"speed": 0, "pause": 0, "trace": 1, "crossing": 1},
    "low_rate": {"speed": 0, "colour_bar": 0, "trace": 1},
    "uncalibrated": {"scale_bar": 0, "colour_bar": 1, "departure": 2},
    "no_midline": {"midline": 0, "crossing": 0, "zone": 0},
    "no_corridor": {"corridor": 0, "departure": 0, "guide": 1},
    "no_guide": {"guide": 0, "start": 0, "stop": 0, "colour_bar": 0, "speed": 1},
    # Two lifts: a tick at both ends of each on the picture, one mark each on the speed.
    "lifted": {"lift": 6, "crossing": 0, "not_drawn": 2},
    "closed": {"crossing": 2, "way": 3, "midline": 3},
    "parts": {"guide": 3, "lift": 6, "way": 9},
    "upright": {"crossing": 0, "midline": 1},
    "one_dot": {"dot": 1, "trace": 0},
    # Five dots of which two were not met; five touches of which three met a dot first.
    "tapped": {
        "dot_target": 3,
        "dot_missed": 2,
        "touch": 3,
        "touch_astray": 2,
        "trace": 0,
        "lift": 0,
        "guide": 0,
        "start": 0,
        "stop": 0,
        "speed": 0,
        "pause": 0,
        "crossing": 0,
        "midline": 1,
    },
    "tapped_by_nobody": {"dot_target": 5, "dot_missed": 0, "touch": 0, "touch_astray": 0},
    "joined_up": {"dot_target": 4, "dot_missed": 1, "guide": 1, "trace": 1, "start": 0, "stop": 0},
    "both_hands": {
        "guide": 2,
        "start": 2,
        "stop": 2,
        "trace": 2,
        "speed": 2,
        "lift": 0,
        "departure": 1,
    },
    "one_of_two_hands": {"guide": 2, "trace": 1, "speed": 1},
    # Arrows on the circle only, and no pause for a contact that is there to hold.
    "held_and_traced": {
        "guide": 1,
        "dot_target": 1,
        "start": 1,
        "stop": 1,
        "trace": 2,
        "way": 3,
        "pause": 0,
    },
    "for_scissors": {"guide": 1, "start": 1, "stop": 1, "trace": 1, "midline": 2},
}


@pytest.mark.parametrize("name", EXPECTED)
def test_a_trial_shows_its_marks_and_no_others(name: str) -> None:
    found = counted(trial_figure(*drawn(name)))
    wanted = EXPECTED[name]  # [C] by construction of the drawing
    assert {gid: found[gid] for gid in wanted} == wanted


def test_the_key_explains_only_what_is_there() -> None:
    shown = " | ".join(words(trial_figure(*drawings.clean())))
    assert "pause: the larger, the longer" in shown
    assert "midline crossed, pen down" in shown
    assert "outside the path" not in shown
    assert "lifted" not in shown


def test_the_area_of_a_pause_grows_with_its_length() -> None:
    assert pause_area_pt2(2.0) == pytest.approx(2.0 * pause_area_pt2(1.0))  # [C] in proportion
    assert pause_area_pt2(0.2) >= 30.0
    assert pause_area_pt2(600.0) == pause_area_pt2(60.0)
    figure = trial_figure(*drawings.clean())
    (circle,) = [a for a in artists(picture(figure).figure, "pause") if a.axes is picture(figure)]
    assert isinstance(circle, PathCollection)
    pause = drawings.clean()[0].events["pauses"][0]
    length_s = (pause["end_ms"] - pause["start_ms"]) / 1000.0
    assert float(circle.get_sizes()[0]) == pytest.approx(pause_area_pt2(length_s))


def test_a_crossing_is_marked_on_the_midline() -> None:
    (mark,) = artists(trial_figure(*drawings.clean()), "crossing")
    assert isinstance(mark, PathCollection)
    x_mm, y_mm = np.asarray(mark.get_offsets())[0]
    assert x_mm == pytest.approx(drawings.MIDLINE_MM)  # [C]
    assert y_mm == pytest.approx(
        38.0, abs=0.02
    )  # [C] top of the arc at y = 40, drawn 2 mm above it


def test_colour_is_distance_on_a_fixed_scale() -> None:
    """The line lies 2 mm off everywhere: 2 of 12 mm."""
    (line,) = artists(trial_figure(*drawings.clean()), "trace")
    assert isinstance(line, LineCollection)
    assert (line.norm.vmin, line.norm.vmax) == (0.0, 12.0)  # [C] 0 to twice the half-width
    values = np.asarray(line.get_array())
    assert np.abs(values - 2.0).max() <= 12.0 / 32  # [C] one of 32 steps
    steps = mpl.colormaps["cividis"].resampled(32)
    assert np.allclose(line.to_rgba(values[:1]), steps([5]))  # [C] 2 / (12 / 32) = 5.33


def test_millimetres_are_equal_in_both_directions_and_the_bar_is_true() -> None:
    for name in ("good", "upright", "closed", "parts"):
        figure = trial_figure(*drawn(name))
        figure.draw_without_rendering()
        (x0, y0), (x1, _), (_, y1) = picture(figure).transData.transform([(0, 0), (20, 0), (0, 20)])
        assert abs(x1 - x0) == pytest.approx(abs(y1 - y0), rel=1e-9)
        (bar,) = artists(figure, "scale_bar")
        assert isinstance(bar, Line2D)
        ends_px = bar.get_transform().transform(np.column_stack(bar.get_data()))
        assert ends_px[1, 0] - ends_px[0, 0] == pytest.approx(abs(x1 - x0), rel=1e-9)


def test_the_page_is_the_right_way_up() -> None:
    """y points down on paper: the foot of the bridge stands below its top."""
    axes = picture(trial_figure(*drawings.good()))
    _, foot_px = axes.transData.transform((30.0, 125.0))
    _, top_px = axes.transData.transform((120.0, 40.0))
    assert foot_px < top_px


def test_nothing_in_mm_stands_on_the_picture_of_an_uncalibrated_screen() -> None:
    shown = words(trial_figure(*drawings.uncalibrated()))
    assert not [word for word in shown if re.search(r"\bmm\b", word)]
    assert "no true scale: the screen\nwas not calibrated" in shown
    assert [word for word in words(trial_figure(*drawings.good())) if re.search(r"\bmm\b", word)]


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("tapped", "Dots are touched, so there is no speed along a line."),
        ("nothing", "Nothing was drawn, so there is no speed to show."),
        ("no_times", "No times were recorded, so no speed can be shown."),
        ("low_rate", "The tablet reported too few points a second to show a speed."),
    ],
)
def test_a_missing_speed_is_explained(name: str, says: str) -> None:
    figure = trial_figure(*drawn(name))
    assert says in words(figure)
    assert not axes_of(figure, "speed")


def test_start_and_stop_are_those_that_were_asked() -> None:
    asked, other = (trial_figure(*made()) for made in (drawings.clean, drawings.other_way))
    for figure in (asked, other):
        (start,), (stop,) = artists(figure, "start"), artists(figure, "stop")
        assert isinstance(start, Circle)
        assert isinstance(stop, Rectangle)
        assert start.center == pytest.approx((30.0, 125.0))  # [C] left foot
        assert stop.get_center() == pytest.approx((210.0, 125.0))  # [C] right foot
    assert "drawn from here" in words(other)
    assert "drawn from here" not in words(asked)


def boxes(axes: Axes) -> Iterator[Text]:
    for text in axes.findobj(Text):
        if text.get_text() and text.get_visible():
            yield text


@pytest.mark.parametrize("name", ALL)
@pytest.mark.parametrize("narrow", [False, True])
def test_no_word_covers_another_or_leaves_the_paper(name: str, narrow: bool) -> None:
    figure = trial_figure(*drawn(name), narrow=narrow)
    figure.draw_without_rendering()
    paper = figure.bbox
    placed = [(t.get_text(), t.get_window_extent()) for t in boxes(picture(figure))]
    for text, box in placed:
        assert box.x0 >= paper.x0 - 1, text
        assert box.x1 <= paper.x1 + 1, text
    for i, (text, box) in enumerate(placed):
        for other, its in placed[i + 1 :]:
            assert not box.padded(-2.0).overlaps(its.padded(-2.0)), (text, other)


def test_every_picture_carries_its_caution() -> None:
    for narrow in (False, True):
        shown = " ".join(words(trial_figure(*drawings.good(), narrow=narrow)))
        assert "Not a standardised test, a norm or a diagnosis." in shown.replace("\n", " ")


def test_a_dot_is_as_large_as_it_was_asked_and_a_touch_lies_where_it_came_down() -> None:
    figure = trial_figure(*drawings.tapped())
    circles = [*artists(figure, "dot_target"), *artists(figure, "dot_missed")]
    radii = [circle.radius for circle in circles]  # type: ignore[attr-defined]
    assert radii == [6.0] * 5  # [C]
    touches = [*artists(figure, "touch"), *artists(figure, "touch_astray")]
    places = sorted(tuple(np.asarray(one.get_offsets())[0]) for one in touches)  # type: ignore[attr-defined]
    # [C] as they were made
    assert places == [(39.0, 81.0), (41.0, 40.0), (42.0, 80.0), (80.0, 38.0), (129.0, 40.0)]
    shown = words(figure)
    assert {"1", "2", "3 not met", "4 not met", "5"} <= set(shown)
    assert {"touched in the dot", "touched elsewhere, or again", "dot not met"} <= set(shown)


def test_all_of_every_dot_lies_on_the_picture() -> None:
    for name in ("tapped", "held_and_traced"):
        figure = trial_figure(*drawn(name))
        axes = picture(figure)
        (left, right), (bottom, top) = axes.get_xlim(), axes.get_ylim()
        for dot in [*artists(figure, "dot_target"), *artists(figure, "dot_missed")]:
            (x, y), radius = dot.center, dot.radius  # type: ignore[attr-defined]
            assert left <= x - radius
            assert x + radius <= right
            assert top <= y - radius
            assert y + radius <= bottom


def test_each_of_two_lines_is_coloured_by_its_own_distance() -> None:
    near, far = (
        np.asarray(line.get_array())  # type: ignore[attr-defined]
        for line in artists(trial_figure(*drawings.both_hands()), "trace")
    )
    step_mm = 18.0 / 32  # [C] twice the half-width of 9 mm in 32 steps
    assert np.abs(near - 1.0).max() <= step_mm
    assert np.abs(far - 12.0).max() <= step_mm


def test_the_speeds_of_two_contacts_can_be_told_apart() -> None:
    figure = trial_figure(*drawings.both_hands())
    looks = {line.get_linestyle() for line in artists(figure, "speed")}  # type: ignore[attr-defined]
    assert len(looks) == 2
    assert {"first contact", "second contact", "held here"} - set(words(figure)) == {"held here"}
    assert "held here" in words(trial_figure(*drawings.held_and_traced()))


# Trends

DISTANCE = measure("deviation_mean_abs")


def test_a_slope_needs_five_sessions() -> None:
    four = trend_figure([series([4.0, 3.0, 2.0, 1.0])], DISTANCE)
    five = trend_figure([series([5.0, 4.0, 3.0, 2.0, 1.0])], DISTANCE)
    assert (counted(four)["slope"], counted(four)["band"]) == (0, 0)
    assert (counted(five)["slope"], counted(five)["band"]) == (1, 1)
    (line,) = artists(five, "slope")
    assert isinstance(line, Line2D)
    y = np.asarray(line.get_ydata())
    assert (y[0], y[-1]) == pytest.approx((5.0, 1.0))  # [C] the points lie on a line


def test_the_points_are_the_sessions_and_their_shape_is_the_help() -> None:
    alone, helped = series([3.0, 2.0]), series([4.0, 3.5], hand="left", helps=2)
    figure = trend_figure([alone, helped], DISTANCE)
    marks = {line.get_marker(): line for line in artists(figure, "sessions")}  # type: ignore[attr-defined]
    assert set(marks) == {"o", "^"}
    assert list(marks["o"].get_ydata()) == [3.0, 2.0]
    assert list(marks["^"].get_xdata()) == [
        FIRST_DAY.toordinal(), FIRST_DAY.toordinal() + 7
    ]  # fmt: skip
    assert {"no help noted", "with help"} <= set(words(figure))


def test_widths_that_follow_each_other_are_phases_and_no_line_crosses_them() -> None:
    wide = series([5.0, 4.5, 4.0, 3.5, 3.0], corridor_mm=24.0)
    narrow = series([3.5, 3.2, 3.0, 2.8, 2.5], corridor_mm=12.0, first_week=5)
    figure = trend_figure([narrow, wide], DISTANCE)
    assert len(figure.axes) == 1
    assert (counted(figure)["phase"], counted(figure)["slope"]) == (1, 2)
    assert {"12 mm each side", "6 mm each side"} <= set(words(figure))
    last_of_wide, first_of_narrow = wide.points[-1].day, narrow.points[0].day
    for line in artists(figure, "slope"):
        x = np.asarray(line.get_xdata())  # type: ignore[attr-defined]
        assert x.max() <= last_of_wide.toordinal() or x.min() >= first_of_narrow.toordinal()


def test_widths_drawn_in_the_same_weeks_and_other_conditions_stand_apart() -> None:
    wide, narrow = series([5.0, 4.5], corridor_mm=24.0), series([3.5, 3.2])
    other = series([4.0], travelled="right_to_left")
    figure = trend_figure([wide, narrow, other], DISTANCE)
    assert len(figure.axes) == 3
    assert len({axes.get_ylim() for axes in figure.axes}) == 1
    assert len({axes.get_xlim() for axes in figure.axes}) == 1


def test_shares_are_drawn_in_percent() -> None:
    share = measure("in_corridor_share")
    figure = trend_figure([series([0.5, 0.75])], share)
    (marks,) = artists(figure, "sessions")
    assert list(marks.get_ydata()) == [50.0, 75.0]  # type: ignore[attr-defined]  # [C]
    assert any("%" in word and "higher is better" in word for word in words(figure))


def test_a_trend_is_the_same_for_the_same_sessions() -> None:
    made = [render(trend_figure([series([3.0, 2.0])], DISTANCE, narrow=n), "svg") for n in (0, 0)]
    assert made[0] == made[1]
    assert render(trend_figure([], DISTANCE), "svg").startswith(b"<?xml")
