"""What pages say: the one sentence, the reasons, the marks, the numbers."""

import re
from typing import Any

import pytest

from analysis.quality import FLAGS
from analysis.registry import MEASURES, measure
from analysis.report import rounded
from analysis.scores import scores
from analysis.value import REASONS, Value
from server.documents import CriterionFields
from server.figures_panel import slope_of
from server.numbers import each_side, measured, percent
from server.page_trial import criterion_sentence, families, readings
from server.scoring import failed_report
from server.sentences import (
    alt_text,
    condition_words,
    flag_sentences,
    reason_sentence,
    sentence,
    width_words,
)
from server.sentences_criterion import bounds_words
from server.sentences_goals import interval_ends, interval_words
from server.sentences_marks import help_words, mark_sentence, outcome_caution
from server.sentences_series import slope_line, slope_sentence
from server.sentences_then_and_now import count_lines, share_words
from server.tables import MarkRow
from tests import drawings
from tests.drawings import ALL, series

# Words that would judge a child instead of measuring a line.
JUDGING = re.compile(
    r"\b(good|bad|poor|well|improv\w*|normal|abnormal|delay\w*|fail(?!ure)\w*|should|must)\b", re.I
)


def plain(text: str) -> str:
    return text.replace("\N{NO-BREAK SPACE}", " ")


def said(name: str) -> str:
    return plain(sentence(ALL[name]()[1]))


SENTENCES = {
    "clean": "On the path for 100 % of the line, 6 mm each side. "
    "One pause, at the midline; crossed without lifting.",
    "nothing": "Nothing was drawn, so there is nothing to measure.",
    "half": "40 % of the line was drawn, all of it on the path, 6 mm each side. "
    "No pause; midline not crossed.",
    "little": "Only 14 % of the line was drawn: too little to say how near it was. "
    "No pause; midline not crossed.",
    "other_way": "Drawn right to left, the other way from what was asked. "
    "On the path for 100 % of the line, 6 mm each side. "
    "No pause; midline crossed without lifting.",
    "no_times": "On the path for 100 % of the line, 6 mm each side. No times were recorded, so "
    "speed and pauses are not known; midline crossed without lifting.",
    "low_rate": "How near the line it was drawn is not known: the tablet reported too few points "
    "a second. Midline crossed without lifting.",
    "no_midline": "On the path for 100 % of the line, 6 mm each side. No pause.",
    "no_corridor": "100 % of the line was drawn; the guide has no corridor, so there is no share "
    "on the path. No pause; midline crossed without lifting.",
    "no_guide": "There is no line to compare with, so nothing is known about nearness to it. "
    "No pause.",
    "lifted": "On the path for 92 % of the line, 6 mm each side. "
    "No pause; midline not crossed with the pen down; pen lifted twice.",
    "parts": "On the path for 100 % of the line; the width of the path varies. "
    "No pause; midline crossed without lifting; pen lifted twice.",
    "one_dot": "Next to nothing of the line was drawn: too little to say how near it was. "
    "Pauses are not known: too few samples; midline not crossed.",
    # [C] four dots were tried, fewer than an average needs
    "tapped": "3 of 5 dots touched. One touch in no dot. One touch again.",
    "tapped_by_nobody": "Nothing was drawn, so there is nothing to measure.",
    # [C] one of five dots passed at 8 mm on a straight piece, the others hit
    "joined_up": "4 of 5 dots joined. On average passed 1.6 mm from the middle.",
    "both_hands": "First contact on the path for 100 % of its line, 9 mm each side. "
    "Second contact on the path for 0 % of its line, 9 mm each side.",
    "one_of_two_hands": "First contact on the path for 100 % of its line, 9 mm each side. "
    "Only one contact was seen, so two hands cannot be compared.",
    "both_uncalibrated": "First contact on the path for 100 % of its line; how wide the path was "
    "in mm is not known. Second contact on the path for 100 % of its line; how wide the path was "
    "in mm is not known.",
    "held_and_traced": "First contact held and moved by up to 4.0 mm. "
    "Second contact on the path for 100 % of its line, 9 mm each side.",
    "for_scissors": "On the path for 100 % of the line, 6.35 mm each side. "
    "No pause; midline crossed without lifting.",
}


@pytest.mark.parametrize("name", SENTENCES)
def test_the_sentence_of(name: str) -> None:
    assert said(name) == SENTENCES[name]


def test_on_the_path_never_stands_without_its_width() -> None:
    for name in ALL:
        words = said(name)
        if "on the path" in words.lower() and "no share" not in words:
            assert re.search(r"mm each side|in mm is not known|width of the path varies", words)


def test_an_uncalibrated_trial_says_no_millimetre() -> None:
    report = drawings.uncalibrated()[1]
    assert not re.search(r"\d mm", plain(sentence(report)))
    assert plain(sentence(report)).startswith("On the path for 96 % of the line; how wide")
    assert flag_sentences(report) == [FLAGS["uncalibrated"]]
    assert width_words(report) == "width in mm not known"


def test_a_scribble_is_told_by_its_length_and_not_by_its_nearness() -> None:
    words = said("scribble")
    assert re.match(r"The pen went 1\d times as far as the line it covered: much of this", words)
    assert "crossed" not in words


def test_a_finger_and_a_failed_scoring_say_what_is_not_known() -> None:
    assert flag_sentences(drawings.finger()[1]) == [FLAGS["finger"]]
    report = failed_report(drawings.good()[0].trial)
    assert sentence(report) == (
        "This trial could not be measured yet. What was drawn is stored safely."
    )
    assert flag_sentences(report) == []
    assert [reading.text for reading in readings(report)] == [None, None, None]


def varied(changes: dict[str, Any]) -> dict[str, Any]:
    report = drawings.clean()[1]
    for name, value in changes.items():
        report["measures"][name] = {"value": value, "unit": "1"}
    return report


@pytest.mark.parametrize(
    ("changes", "ending"),
    [
        (
            {"pause_count": 0, "midline_pause_count": 0},
            "No pause; midline crossed without lifting.",
        ),
        ({"pause_count": 2}, "Two pauses, one at the midline; crossed without lifting."),
        (
            {"pause_count": 2, "midline_pause_count": 2},
            "Two pauses, both at the midline; crossed without lifting.",
        ),
        (
            {"pause_count": 3, "midline_pause_count": 3},
            "Three pauses, all at the midline; crossed without lifting.",
        ),
        ({"lift_count": 1}, "One pause, at the midline; crossed without lifting; pen lifted once."),
        (
            {"midline_crossing_share": 0.5},
            "One pause, at the midline; midline crossed without lifting on 50 % of its passages.",
        ),
        ({"pause_count": 12}, "12 pauses, one at the midline; crossed without lifting."),
    ],
)
def test_pauses_and_crossings_in_words(changes: dict[str, Any], ending: str) -> None:
    assert plain(sentence(varied(changes))).endswith(ending)


def test_a_lift_on_the_way_across_is_said() -> None:
    report = varied({"midline_crossing_share": 0.0, "lift_count": 1})
    report["events"]["crossings"][0]["lifted"] = True
    assert "midline crossed, but with the pen lifted on the way" in sentence(report)


def test_every_flag_and_every_reason_has_a_plain_sentence() -> None:
    for words in [*FLAGS.values(), *map(reason_sentence, REASONS)]:
        assert words[0].isupper()
        assert words.endswith(".")
        assert "_" not in words
    with pytest.raises(KeyError):
        reason_sentence("because")


@pytest.mark.parametrize("name", ALL)
def test_nothing_that_is_said_judges_the_child(name: str) -> None:
    report = ALL[name]()[1]
    texts = [sentence(report), alt_text(report), *flag_sentences(report)]
    for family in families(report):
        texts += [family.remark or "", *(row.text for row in family.rows)]
    for text in texts:
        assert JUDGING.search(text) is None, text
        assert "nan" not in text.lower()
        assert "None" not in text


def test_the_picture_is_told_to_those_who_cannot_see_it() -> None:
    assert alt_text(drawings.nothing()[1]) == "Picture of the guide. Nothing was drawn on it."
    told = plain(alt_text(drawings.good()[1]))
    assert told.startswith("Picture of the line over its guide. On the path for 96 %")
    assert told.endswith("One stretch outside the path outlined.")


# Readings and measures of the page


def test_the_three_readings_and_what_stands_beside_them() -> None:
    report = drawings.clean()[1]
    on_path, covered, moving = readings(report)
    assert plain(on_path.text or "") == "100 %"
    assert plain(on_path.beside or "") == "6 mm each side"
    assert covered.beside is None
    # [C] at 40 mm/s along 274.6 mm the pen moves for 6.87 s and rests for 0.9 s.
    assert int((moving.text or "")[:2]) == pytest.approx(100 * 6.87 / 7.77, abs=1.0)
    assert readings(drawings.finger()[1])[0].why == "drawn with a finger"
    refused = readings(drawings.low_rate()[1])[0]
    assert (refused.text, refused.beside) == (None, None)
    assert refused.why == "The tablet reported too few points a second"


def test_every_measure_of_a_report_is_shown_or_its_heading_says_why_not() -> None:
    for name in ALL:
        report = ALL[name]()[1]
        shown = list(families(report))
        labels = {row.label.replace("\N{NO-BREAK SPACE}", " ") for f in shown for row in f.rows}
        silent = {name for f in shown if not f.rows for name in f.name.split("; ")}
        for measure_id, value in report["measures"].items():
            entry = measure(measure_id)
            absent = value.get("reason") == "guide_lacks_feature"
            assert entry.label in labels or entry.family in silent or absent, measure_id


def test_a_criterion_is_judged_only_where_the_trial_counts() -> None:
    asked = CriterionFields(measure="in_corridor_share", at_least=0.8)
    report = drawings.clean()[1]
    report["criterion"] = {"measure": "in_corridor_share", "met": True, "value": 1.0}
    words = plain(criterion_sentence(asked, report) or "")
    assert words == (
        "Asked for: share of the line inside the corridor at least 80 %, 6 mm each side. "
        "In this trial: met."
    )
    assert (criterion_sentence(asked, report, counted=False) or "").endswith("not counted.")
    report["criterion"]["met"] = None
    assert (criterion_sentence(asked, report) or "").endswith("cannot be said.")
    assert criterion_sentence(None, report) is None


# Numbers


def test_numbers_follow_the_registry() -> None:
    cases = {
        ("deviation_mean_abs", 1.4249): "1.4 mm",
        ("in_corridor_share", 0.912): "91 %",
        ("completion", 1.0): "100 %",
        ("pause_count", 2.0): "2",
        ("turning_total", 178.2): "178°",
        ("deviation_bias", -0.83): "0.8 mm right",
        ("deviation_bias", 0.83): "0.8 mm left",
        ("deviation_bias", 0.001): "0.0 mm",
        ("deviation_bias_outward", -1.5): "1.5 mm inside",
        ("speed_peaks_per_cm", 0.361): "0.36 per cm",
        ("area_between", 606.6): "607 mm²",
    }
    for (name, value), text in cases.items():
        assert plain(measured(value, measure(name))) == text
    for entry in MEASURES:
        assert "_" not in measured(1.0, entry)
        assert "-1" not in measured(1.0, entry)


def test_rounding_claims_neither_all_nor_nothing() -> None:
    assert [plain(percent(v)) for v in (99.96, 0.04, 0.0, 100.0)] == ["99 %", "1 %", "0 %", "100 %"]


def test_a_reading_is_written_as_its_share_wherever_it_stands() -> None:
    # Every hundredth of a percent, and the ends: one rule for readings, tables and sentences.
    exact = [count / 10_000 for count in range(10_001)] + [1e-9, 0.99999999, 1.0 - 1e-15]
    for share in exact:
        told = scores({"in_corridor_share": Value(share)})["on_path_pct"]
        assert told is not None
        # As the report keeps it:
        assert percent(rounded(told)) == percent(told)
        assert percent(told) == percent(100.0 * share)
        assert measured(share, measure("in_corridor_share")) == percent(told)


@pytest.mark.parametrize(
    ("share", "reads"), [(0.9996, "99 %"), (0.99999, "99 %"), (0.9146, "91 %"), (1.0, "100 %")]
)
def test_the_sentence_the_reading_and_the_table_say_one_number(share: float, reads: str) -> None:
    report = drawings.good()[1]
    report["measures"]["in_corridor_share"]["value"] = share
    report["scores"] = scores({"in_corridor_share": Value(share), "completion": Value(1.0)})
    assert plain(sentence(report)).startswith(f"On the path for {reads} of the line")
    assert plain(readings(report)[0].text or "") == reads
    rows = [row for family in families(report) for row in family.rows]
    label = measure("in_corridor_share").label
    assert [plain(row.text) for row in rows if row.label == label] == [reads]


def test_all_of_it_is_said_of_all_of_it_only() -> None:
    report = drawings.half()[1]
    report["measures"]["in_corridor_share"]["value"] = 0.3999
    assert "all of it on the path" not in sentence(report)
    assert "all of it on the path" in sentence(drawings.half()[1])


@pytest.mark.parametrize(("met", "of"), [(0, 5), (4, 5), (5, 5), (1, 300), (299, 300)])
def test_the_interval_of_a_count_reads_the_same_wherever_it_stands(met: int, of: int) -> None:
    low, high = interval_ends(met, of)
    assert share_words(met, of) == f"{met} of {of} ({low}–{high})"
    assert interval_words(met, of).endswith(f"interval {low} to {high}")
    # [C] Only none and all have an end at nothing and at all.
    assert (low == "0", plain(high) == "100 %") == (met == 0, met == of)


@pytest.mark.parametrize(
    ("bounds", "words"),
    [
        ({"at_most": 2.75}, "at most 2.75 mm"),
        ({"at_least": -0.8, "at_most": 0.8}, "at least −0.8 mm and at most 0.8 mm"),
    ],
)
def test_bounds_are_said_as_they_were_typed(bounds: dict[str, float], words: str) -> None:
    asked = CriterionFields(measure="deviation_bias", **bounds)
    report = drawings.clean()[1]
    report["criterion"] = {"measure": "deviation_bias", "met": True, "value": 0.1}
    assert f"left or right of travel {words}." in plain(criterion_sentence(asked, report) or "")
    assert plain(bounds_words(bounds, measure("deviation_bias"))) == words
    line, *_ = count_lines(
        [
            {
                "criterion": {"measure": "deviation_bias", **bounds},
                "half_width_mm": 6.0,
                "met": 1,
                "of": 2,
            }
        ],
        [],
    )
    assert plain(line.asked) == f"Left or right of travel {words}, 6 mm each side"


def test_widths_read_without_needless_zeros() -> None:
    written = [plain(each_side(v)) for v in (12.0, 3.175, 6.35, 4.0)]
    assert written == [
        "12 mm each side",
        "3.175 mm each side",
        "6.35 mm each side",
        "4 mm each side",
    ]


# Conditions, marks, trends


def test_conditions_read_as_words() -> None:
    asked = {"hand": "left", "direction": "right_to_left", "position": "seated", "tool": None}
    assert condition_words(asked) == ["left hand", "right to left", "seated"]
    lay = {"tablet_at": "left", "surface": "floor"}
    assert condition_words(lay) == ["tablet to the left", "on the floor"]
    others = {"tablet_at": "centred", "surface": "sloped"}
    assert condition_words(others) == ["tablet centred", "sloped surface"]
    # A word that nobody knows is not told as if it were one of these.
    assert condition_words({"tablet_at": "afloat", "surface": "wet"}) == []
    assert condition_words({}) == []


def mark(**fields: Any) -> MarkRow:
    return MarkRow(**{"outcome": None, "why": None, "hand_used": None, "help": None} | fields)


def test_marks_read_as_sentences() -> None:
    noted = {"setup": True, "cues": {"verbal": 2, "gesture": 1}, "physical": "minimal"}
    assert help_words(noted) == "set-up, two verbal cues, one gesture and minimal physical help"
    assert help_words({"given": True}) == "some, not described"
    assert help_words({"physical": "none"}) == "none"
    told = mark_sentence(mark(outcome="spoilt", why="another child touched it", hand_used="left"))
    assert told == "Spoilt: another child touched it. Hand used: left hand."


def test_a_mark_changes_how_a_trial_is_read() -> None:
    assert outcome_caution(None, "left") == []
    assert outcome_caution(mark(outcome="finished", hand_used="left"), "left") == []
    (stopped,) = outcome_caution(mark(outcome="stopped"), "left")
    assert "never counted as a failure" in stopped
    (spoilt,) = outcome_caution(mark(outcome="spoilt", why="a sneeze"), None)
    assert spoilt == "Spoilt (a sneeze): it is kept and not counted."
    (other,) = outcome_caution(mark(hand_used="left"), "right")
    assert other.startswith("Asked for the right hand, drawn with the left hand")
    assert outcome_caution(mark(hand_used="left"), "free") == []


def test_a_trend_is_told_without_a_judgement() -> None:
    rising = series([5.0, 4.0, 3.0, 2.0, 1.0])
    line = slope_line(rising, slope_of(rising.points), measure("deviation_mean_abs"))
    assert plain(line.per_week) == "−1.00 mm"  # [C] 1 mm less each week
    assert plain(slope_sentence(line)) == (
        "Right hand, left to right, stylus, 6 mm each side: −1.00 mm a week (95 % interval "
        "−1.00 mm to −1.00 mm) over five sessions, latest value 1.0 mm."
    )
    few = series([5.0, 4.0])
    short = slope_line(few, slope_of(few.points), measure("deviation_mean_abs"))
    assert (short.per_week, short.interval) == ("", "")
    assert plain(slope_sentence(short)).endswith("two sessions, latest value 4.0 mm.")
    share = series([0.5, 0.6, 0.7, 0.8, 0.9])
    points = slope_line(share, slope_of(share.points), measure("in_corridor_share"))
    assert plain(points.per_week) == "+10.0 points"  # [C] ten percentage points each week
