"""Then and now: the first and the latest sessions of a series, within or beyond its own noise."""

import re
import subprocess
from copy import deepcopy
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.registry import measure
from server import then_and_now_store
from server.figures_then_and_now import then_and_now_figure
from server.note_numbers import numbers_of
from server.numbers import NO_BREAK
from server.page_then_and_now import Row, asked_sentence
from server.sentences_then_and_now import (
    change_sentence,
    count_lines,
    period_words,
    share_words,
    summary_sentence,
)
from server.then_and_now import NO_SPREAD, TOO_FEW, Compared, compared
from server.trend_series import Series, SessionPoint
from tests.accounts import rows
from tests.cut_documents import sound_cut
from tests.documents import sound
from tests.practice import Practice, drawn, raw_of

DEVIATION = measure("deviation_mean_abs")
SHARE = measure("in_corridor_share")
START = date(2026, 1, 13)
# [C] Steps of 1, -1, 1, -1, 0 mm: SD 1 mm, so SEM = 1/sqrt 2 and the spread is 1.96 mm.
PAIRS = ((3.0, 4.0), (4.0, 3.0), (3.0, 4.0), (4.0, 3.0), (3.5, 3.5))


def point(number: int, value: float, **more: Any) -> SessionPoint:
    fields = {"n": 2, "helps": 0, "positions": ("seated",)} | more
    return SessionPoint(START + timedelta(days=7 * number), f"s{number}", value, **fields)


def series(*values: float, repeats: Any = PAIRS, measure_id: str = DEVIATION.id) -> Series:
    return Series(
        mode="trace",
        guide_id="g1-0",
        path_id="p1-0",
        hand="right",
        travelled="left_to_right",
        tool="stylus",
        calibration_id="c1",
        midline_offset_mm=None,
        measure_id=measure_id,
        revision=1,
        task_name="High Bridge",
        corridor_mm=12.0,
        points=tuple(point(k, value) for k, value in enumerate(values)),
        repeats=repeats,
    )


def ids(count: int) -> list[str]:
    return [f"s{k}" for k in range(count)]


def of(*values: float, each: int = 2, **more: Any) -> Compared:
    found = compared(series(*values, **more), ids(len(values)), each)
    assert found is not None
    return found


def plain(text: str) -> str:
    return text.replace(NO_BREAK, " ")


def test_then_is_the_first_sessions_and_now_the_latest() -> None:
    one = of(5.0, 4.0, 9.0, 9.0, 2.0, 3.0)
    assert (one.then.value, one.now.value) == (4.5, 2.5)  # [C] medians of two
    assert [p.session_id for p in one.between] == ["s2", "s3"]
    assert one.days == 35  # [C] five weeks
    assert (one.then.count, one.now.helps) == (4, 0)


@given(st.integers(2, 9), st.integers(1, 3))
def test_no_session_is_in_both_periods_and_none_is_lost(count: int, each: int) -> None:
    one = of(*[float(k) for k in range(count)], each=each)
    assert not one.then.session_ids & one.now.session_ids
    assert len(one.then.points) == len(one.now.points) == min(each, count // 2)
    assert [*one.then.points, *one.between, *one.now.points] == list(one.series.points)


def test_one_session_is_nothing_to_compare() -> None:
    assert compared(series(5.0), ids(1)) is None
    assert compared(series(5.0, 4.0), ["s1"]) is None
    with pytest.raises(ValueError, match="one session"):
        compared(series(5.0, 4.0), ids(2), 0)


def test_only_chosen_sessions_are_taken() -> None:
    found = compared(series(9.0, 5.0, 4.0, 1.0), ["s1", "s2"])
    assert found is not None
    assert (found.then.value, found.now.value) == (5.0, 4.0)


def test_within_and_beyond_the_spread_are_told_apart_at_its_edge() -> None:
    assert of(5.0, 5.0 - 1.95, each=1).is_beyond is False
    assert of(5.0, 5.0 - 1.97, each=1).is_beyond is True
    # The way of the change makes no difference: nothing is judged.
    assert of(5.0, 5.0 + 1.97, each=1).is_beyond is True
    assert of(5.0, 1.0, each=1).spread == pytest.approx(1.96)


def test_too_few_pairs_and_equal_pairs_say_nothing() -> None:
    few = of(5.0, 1.0, repeats=PAIRS[:4])
    assert (few.spread, few.is_beyond, few.reason) == (None, None, TOO_FEW)
    same = of(5.0, 1.0, repeats=((3.0, 3.0),) * 5)
    assert (same.spread, same.is_beyond, same.reason) == (None, None, NO_SPREAD)


def test_the_sentence_says_values_and_spread_and_no_more() -> None:
    assert plain(change_sentence(of(4.6, 2.1), DEVIATION)) == (
        "Now 2.1 mm, then 4.6 mm: beyond the spread of repeat trials (2.0 mm)."
    )
    assert "within the spread" in change_sentence(of(4.6, 4.1), DEVIATION)
    assert plain(change_sentence(of(4.6, 2.1, repeats=PAIRS[:1]), DEVIATION)) == (
        "Now 2.1 mm, then 4.6 mm: too few repeat trials to say (one pair; five are needed)."
    )
    same = change_sentence(of(4.6, 2.1, repeats=((3.0, 3.0),) * 5), DEVIATION)
    assert "no two repeat trials differ" in same


def test_shares_are_percent_and_their_spread_is_points() -> None:
    pairs = tuple((a / 10, b / 10) for a, b in PAIRS)
    one = of(0.4, 0.9, repeats=pairs, measure_id=SHARE.id)
    assert plain(change_sentence(one, SHARE)) == (
        "Now 90 %, then 40 %: beyond the spread of repeat trials (20 points)."
    )


def test_no_sentence_judges() -> None:
    judging = re.compile(r"improv|better|worse|good|bad|progress|normal|fail", re.IGNORECASE)
    cases = [of(4.6, 2.1), of(4.6, 4.5), of(4.6, 2.1, repeats=())]
    said = [change_sentence(one, DEVIATION) for one in cases]
    assert not judging.search(" ".join([*said, summary_sentence(cases, DEVIATION)]))


def test_the_first_sentence_counts_what_lies_where() -> None:
    cases = [of(4.6, 2.1), of(4.6, 4.5), of(4.6, 4.4), of(4.6, 2.1, repeats=())]
    said = summary_sentence(cases, DEVIATION)
    assert said.startswith("Mean distance from the line, four series compared: one beyond ")
    assert "two within" in said
    assert "one too little to say" in said
    assert "nothing to compare yet" in summary_sentence([], DEVIATION)


def test_days_trials_help_and_position_of_a_period_are_said() -> None:
    one = compared(
        replace(
            series(5.0, 4.0, 3.0, 2.0),
            points=(
                point(0, 5.0, helps=2),
                point(1, 4.0, helps=1, positions=("standing",)),
                point(2, 3.0),
                point(3, 2.0),
            ),
        ),
        ids(4),
    )
    assert one is not None
    assert period_words(one.then) == (
        "13 to 20 January 2026, 4 trials, 3 with help, seated, standing"
    )
    assert period_words(one.now) == (
        "27 January 2026 to 3 February 2026, 4 trials, no help noted, seated"
    )


def group(met: int, of_: int, at_least: float = 0.8) -> dict[str, Any]:
    criterion = {"measure": SHARE.id, "at_least": at_least, "at_most": None}
    return {"criterion": criterion, "met": met, "of": of_, "half_width_mm": 6.0}


def test_k_of_n_stands_with_its_interval_its_width_and_its_criterion() -> None:
    # [P] The interval of 4 of 5 as in TRADE section 5.
    assert plain(share_words(4, 5)) == "4 of 5 (38–96 %)"
    (line,) = count_lines([group(1, 4)], [group(4, 5)])
    assert plain(line.asked).endswith("at least 80 %, 6 mm each side")
    assert (plain(line.then)[:6], plain(line.now)) == ("1 of 4", "4 of 5 (38–96 %)")


def test_another_criterion_is_never_put_beside_the_first() -> None:
    lines = count_lines([group(1, 4, 0.5)], [group(4, 5, 0.8)])
    assert [(line.then == "–", line.now == "–") for line in lines] == [(False, True), (True, False)]
    assert count_lines([group(0, 0) | {"criterion": None}], []) == []


def test_a_criterion_on_a_measure_of_long_ago_is_said_by_its_name() -> None:
    asked = {"measure": "of_long_ago", "at_least": 0.8, "at_most": None}
    (line,) = count_lines([], [group(4, 5) | {"criterion": asked}])
    assert plain(line.asked) == "Of long ago at least 0.8, 6 mm each side"


@pytest.mark.parametrize(
    ("name", "label"),
    [
        ("frechet_distance", "Fréchet distance"),
        ("hausdorff_distance", "Hausdorff distance"),
        ("deviation_mean_abs", "mean distance from the line"),
    ],
)
def test_a_measure_that_bears_a_name_keeps_its_capital_in_the_sentence(
    name: str, label: str
) -> None:
    asked = {"measure": name, "at_least": None, "at_most": 3.0}
    (line,) = count_lines([group(1, 4) | {"criterion": asked}], [])
    said = f"{label} at most 3 mm, 6 mm each side"
    assert plain(line.asked) == said[0].upper() + said[1:]
    row = Row("Swell", "", [], None, [line])
    assert plain(asked_sentence([row]) or "").startswith(f"Asked: {said}. In how many trials")
    assert asked_sentence([Row("Swell", "", [], None, [])]) is None


def test_all_rows_of_the_picture_share_one_scale_and_show_every_session() -> None:
    rows = [("one", of(5.0, 4.0, 3.0, 2.0)), ("two", of(9.0, 8.0, 7.5, 1.0, repeats=()))]
    figure = then_and_now_figure(rows, DEVIATION)
    first, second = figure.axes
    assert first.get_xlim() == second.get_xlim()
    for axes, (_, one) in zip((first, second), rows, strict=True):
        shown = sorted(x for m in axes.lines if m.get_gid() == "sessions" for x in m.get_xdata())
        assert shown == sorted(p.value for p in (*one.then.points, *one.now.points))
    bands = [[p for p in axes.patches if p.get_gid() == "spread"] for axes in figure.axes]
    assert [len(found) for found in bands] == [1, 0]
    # [C] Then is 4.5 mm, the spread 1.96 mm each side.
    assert bands[0][0].get_x() == pytest.approx(4.5 - 1.96)
    assert bands[0][0].get_width() == pytest.approx(2 * 1.96)
    assert second.get_xlabel() == "Mean distance from the line, mm"


def test_names_fit_the_picture_of_a_phone() -> None:
    name = "High Bridge, 6 mm each side, right hand, left to right, stylus, calibration 2"
    figure = then_and_now_figure([(name, of(5.0, 4.0))], DEVIATION, narrow=True)
    renderer = figure.canvas.get_renderer()  # type: ignore[attr-defined]
    for text in figure.texts:
        box = text.get_window_extent(renderer)
        assert box.x1 <= figure.bbox.x1, text.get_text()


def test_a_picture_without_rows_says_so() -> None:
    figure = then_and_now_figure([], DEVIATION)
    assert any("Nothing to compare" in text.get_text() for text in figure.texts)


# The page


def fill(practice: Practice, values_mm: list[list[float]], **top: Any) -> list[str]:
    """Sessions a week apart before today's, each with trials so far beside the line."""
    ferry, found = practice.desk("ferry"), []
    child = f"/api/children/{practice.ids['Gull']}"
    for number, values in enumerate(values_mm):
        day = date(2026, 1, 13) + timedelta(days=7 * number)
        made = ferry.post(f"{child}/sessions", json={"day": day.isoformat()}).json()
        found.append(made["session_id"])
        for seq, beside_mm in enumerate(values):
            put(practice, made["session_id"], beside_mm=beside_mm, seq=seq, **top)
    return found


def put(practice: Practice, session_id: str, **top: Any) -> None:
    tree = drawn(**deepcopy(top))
    del tree["plan"]
    address = f"/api/trials/{tree['trial_id']}"
    sent = {"content": raw_of(tree), "params": {"session": session_id}}
    answer = practice.desk("ferry").put(address, **sent)
    assert answer.status_code == 201, answer.text


def show(practice: Practice, end: str = "", **params: Any) -> Any:
    address = f"/children/{practice.ids['Gull']}/then-and-now{end}"
    return practice.desk("ferry").get(address, params=params)


def text_of(answer: Any) -> str:
    return plain(re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", answer.text)))


def test_the_page_compares_first_and_latest_sessions(practice: Practice) -> None:
    # [C] Constant distances; steps of repeats 0.2 and -0.2: SD 0.219, spread 0.429 mm.
    fill(practice, [[5.0, 5.2], [5.2, 5.0], [3.0, 3.2], [3.0, 2.8], [1.0, 1.2], [1.2, 1.0]])
    answer = show(practice)
    assert answer.status_code == 200
    text = text_of(answer)
    assert "Now 1.1 mm, then 5.1 mm: beyond the spread of repeat trials (0.4 mm)." in text
    assert "Quay Edge, 4 mm each side, left hand, left to right, stylus" in text
    # [C] 5 mm beside is outside 4 mm each side, 1 mm is inside.
    assert "0 of 4 (0–49 %)" in text
    assert "4 of 4 (51–100 %)" in text
    assert "13 to 20 January 2026" in text
    assert "Same task, width, hand, direction, tool and tablet only." in text
    assert "BW-91" not in answer.text


def test_the_picture_reads_no_numbers_and_the_page_each_session_once(
    practice: Practice, monkeypatch: pytest.MonkeyPatch
) -> None:
    right = sound()["condition"] | {"hand": "right"}
    made = fill(practice, [[5.0], [4.0], [3.0], [1.0]])
    for session_id in made:
        put(practice, session_id, beside_mm=1.0, seq=9, condition=right)
    read: list[str] = []

    def noted(db: Any, session: Any) -> Any:
        read.append(session.id)
        return numbers_of(db, session)

    monkeypatch.setattr(then_and_now_store, "numbers_of", noted)
    assert show(practice, ".svg", each=1).status_code == 200
    assert read == []
    text = text_of(show(practice, each=1))
    # [C] 5 mm beside is outside 4 mm each side, 1 mm is inside.
    assert "0 of 1 (0–79 %)" in text
    assert sorted(read) == sorted([made[0], made[-1]])


def test_sessions_and_sides_can_be_chosen(practice: Practice) -> None:
    made = fill(practice, [[5.0], [4.0], [3.0], [1.0]])
    assert "Now 1.0 mm, then 5.0 mm" in text_of(show(practice, each=1))
    chosen = {"each": 1, "first": made[1], "last": made[2]}
    assert "Now 3.0 mm, then 4.0 mm" in text_of(show(practice, **chosen))
    wrong = text_of(show(practice, first=made[3], last=made[0]))
    assert "lies after the last one" in wrong
    assert show(practice, each=4).status_code == 422


def test_practice_is_shown_only_where_it_is_asked_for(practice: Practice) -> None:
    task = sound()["task"] | {"use": "practice"}
    fill(practice, [[5.0], [1.0]], task=task)
    assert "nothing to compare yet" in text_of(show(practice))
    assert "Now 1.0 mm, then 5.0 mm" in text_of(show(practice, tasks="all"))


def test_each_hand_is_compared_and_counted_by_itself(practice: Practice) -> None:
    right = sound()["condition"] | {"hand": "right"}
    for session_id in fill(practice, [[5.0], [5.0]]):
        put(practice, session_id, beside_mm=1.0, seq=9, condition=right)
    text = text_of(show(practice))
    assert "two series compared" in text
    # [C] One trial on either side: all of the left hand outside, all of the right inside.
    assert text.count("0 of 1 (0–79 %)") == 2
    assert text.count("1 of 1 (21–100 %)") == 2


def test_one_session_is_named_and_not_compared(practice: Practice) -> None:
    fill(practice, [[5.0]])
    text = text_of(show(practice))
    assert "Not compared: fewer than two sessions" in text
    assert "Quay Edge, 4 mm each side" in text


def test_spoilt_trials_are_neither_compared_nor_counted(practice: Practice) -> None:
    *_, last = fill(practice, [[1.0], [1.0]])
    ferry = practice.desk("ferry")
    trials = ferry.get(f"/api/sessions/{last}/trials").json()["trials"]
    mark = {"id": str(uuid4()), "outcome": "spoilt"}
    ferry.post(f"/api/trials/{trials[-1]['trial_id']}/marks", json=mark)
    assert "nothing to compare yet" in text_of(show(practice))


def test_what_limits_a_trial_stands_beside_its_number(practice: Practice) -> None:
    device = sound()["device"] | {"pointer_type": "touch"}
    fill(practice, [[5.0], [1.0]], device=device)
    assert "Drawn with a finger" in text_of(show(practice))


@pytest.mark.parametrize("measure_id", [SHARE.id, "pause_count", "midline_slowdown_ratio"])
def test_every_kind_of_measure_has_a_page_a_picture_and_a_file(
    practice: Practice, measure_id: str
) -> None:
    fill(practice, [[5.0, 4.0], [1.0, 2.0]])
    for end in ("", ".svg", ".pdf"):
        assert show(practice, end, measure=measure_id).status_code == 200
    assert show(practice, measure="no_such_measure").status_code == 200


def test_what_a_midline_measure_assumes_is_said_and_where_the_midline_was(
    practice: Practice,
) -> None:
    fill(practice, [[5.0, 4.0], [1.0, 2.0]])
    text = text_of(show(practice, measure="midline_slowdown_ratio"))
    assert "Assumes that the tablet did not move and the trunk stayed still." in text
    # [C] The midline lies at x = 100 mm, the guide begins at 20 mm.
    assert "midline 80 mm from the left edge" in text
    assert "midline 80" not in text_of(show(practice))


def test_two_midlines_are_two_series_and_each_keeps_its_own_counts(practice: Practice) -> None:
    fill(practice, [[5.0], [1.0]])
    fill(practice, [[1.0], [1.0]], guide=sound()["guide"] | {"midline_x_mm": 90.0})
    lines = text_of(show(practice, measure="midline_slowdown_ratio")).count("mm from the left edge")
    assert lines >= 4
    # Of other measures they are one.
    assert "one series compared" in text_of(show(practice))


def test_cut_pieces_are_compared_with_cut_pieces(practice: Practice) -> None:
    ferry, child = practice.desk("ferry"), f"/api/children/{practice.ids['Gull']}"
    for number, shift_mm in enumerate((3.0, 0.5)):
        day = (date(2026, 1, 13) + timedelta(days=7 * number)).isoformat()
        made = ferry.post(f"{child}/sessions", json={"day": day}).json()["session_id"]
        tree = cut(shift_mm)
        answer = ferry.put(
            f"/api/cuts/{tree['cut_id']}", content=raw_of(tree), params={"session": made}
        )
        assert answer.status_code == 201, answer.text
    text = text_of(show(practice, measure="cut_deviation_mean", tasks="all"))
    # [C] The edge lies 3 and 0.5 mm outside, and a little farther at its corners.
    assert re.search(r"Now 0\.5 mm, then 3\.[01] mm: too few repeat trials to say", text)
    assert "Crate Card, 3.2 mm each side" in text


def cut(grown_mm: float) -> dict[str, Any]:
    """The sound cut, with so much left outside of its square."""
    low, high = 8.0 * (20.0 - grown_mm) + 0.5, 8.0 * (60.0 + grown_mm) + 0.5
    tree = sound_cut() | {"cut_id": str(uuid4())}
    del tree["plan"]
    tree["outline"]["points"] = [[low, low], [high, low], [high, high], [low, high]]
    return tree


def test_the_file_says_what_the_page_says(practice: Practice, tmp_path: Path) -> None:
    fill(practice, [[5.0, 5.2], [1.0, 1.2]])
    answer = show(practice, ".pdf")
    name = answer.headers["content-disposition"]
    assert re.fullmatch(r'attachment; filename="linnet-then-and-now-[0-9a-f-]{36}\.pdf"', name)
    assert practice.ids["Gull"] not in name
    file = tmp_path / "then.pdf"
    file.write_bytes(answer.content)
    asked = ["pdftotext", "-layout", str(file), "-"]
    text = subprocess.run(asked, check=True, capture_output=True, text=True).stdout
    assert text.count("\f") == 1
    text = " ".join(text.split())
    for said in ("Gull: then and now", "one too little to say", "Not a standardised test"):
        assert said in text, said
    assert "BW-91" not in text
    query = "SELECT account_id, kind, object_id, child_id FROM audit WHERE verb = 'exported'"
    ferry, gull = practice.ids["ferry"], practice.ids["Gull"]
    assert rows(practice, query) == [(ferry, "then_and_now", gull, gull)]
