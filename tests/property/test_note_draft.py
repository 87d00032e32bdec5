"""A drafted note, whatever was done: no judging word, no number of its own, no trial lost."""

import json
import re
from collections import Counter
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from server.note_draft import REASON_WORDS, is_pen_practice, objective
from server.numbers import count_word
from tests.unit.test_note_draft import SESSION, middle, trial

JUDGING = re.compile(r"improv|normal|should|better|worse|well done|poor|good", re.IGNORECASE)
WORDS = st.sampled_from(
    [None, "tired", "the bell", "improved a lot", "normal for her", "should rest"]
)
HELPS = st.none() | st.fixed_dictionaries(
    {},
    optional={
        "setup": st.booleans(),
        "given": st.booleans(),
        "cues": st.dictionaries(st.sampled_from(["verbal", "gesture"]), st.integers(0, 12)),
        "physical": st.sampled_from(["none", "minimal", "total"]),
        "hand_over_hand": st.booleans(),
    },
)
CRITERIA = st.none() | st.builds(
    lambda name, bound, met: {"measure": name, "at_least": bound, "at_most": None, "met": met},
    st.sampled_from(["in_corridor_share", "completion", "deviation_mean_abs"]),
    st.sampled_from([0.5, 0.8, 0.875, 1.0]),
    st.none() | st.booleans(),
)
MIDDLES = st.builds(
    middle, st.none() | st.sampled_from([0.0, 0.5, 1.0]), st.none() | st.sampled_from([0.0, 2.0])
)


@st.composite
def trials(draw: st.DrawFn) -> dict[str, Any]:
    helped = draw(HELPS)
    from server.store_marks import _any_help

    return trial(
        kind=draw(st.sampled_from(["trial", "cut", "entry"])),
        mode=draw(st.sampled_from(["trace", "cut", "join"])),
        half_width_mm=draw(st.sampled_from([None, 6.0, 4.5])),
        hand_used=draw(st.sampled_from([None, "left", "right", "free"])),
        travelled=draw(st.sampled_from([None, "left_to_right", "upward"])),
        outcome=draw(st.sampled_from([None, "finished", "stopped", "spoilt", "not_done"])),
        why=draw(WORDS),
        help=helped,
        helped=_any_help({k: v for k, v in (helped or {}).items() if k != "setup"}),
        voided=draw(st.booleans()),
        flags=draw(st.sampled_from([[], ["uncalibrated"]])),
        criterion=draw(CRITERIA),
        counts=draw(st.none() | st.just({"gaps": 3})),
        largest_stray_mm=draw(st.sampled_from([None, 2.5])),
        measures=draw(MIDDLES),
    )


OBSERVATIONS = st.builds(
    lambda kind, text, minutes, noted: {
        "kind": kind,
        "text": text,
        "minutes": minutes,
        "help": noted,
        "trial_id": None,
    },
    st.sampled_from(["activity", "rest", "thumb_up", "said", "remark"]),
    WORDS,
    st.none() | st.sampled_from([6.0, 2.5]),
    HELPS,
)
NUMBERS = st.fixed_dictionaries(
    {
        "session": st.sampled_from([SESSION, dict.fromkeys(SESSION), SESSION | {"ended_at": None}]),
        "trials": st.lists(trials(), max_size=9),
        "observations": st.lists(OBSERVATIONS, max_size=4),
    }
)


def draft_of(numbers: dict[str, Any]) -> str:
    return objective(numbers, "Gull", lambda moment: moment)


@given(NUMBERS)
def test_no_sentence_judges(numbers: dict[str, Any]) -> None:
    assert not JUDGING.search(draft_of(numbers))


@given(NUMBERS)
def test_no_sentence_holds_a_null_or_a_gap(numbers: dict[str, Any]) -> None:
    text = draft_of(numbers)
    assert not re.search(r"None|null|nan|  |\(\)| [,.;:]|\.\.|,,|;;|: \.", text)
    for line in text.split("\n"):
        assert line[0].isupper() or line[0].isdigit()
        assert line.endswith(".")
    assert not re.search(r"\b(1 finished trials|1 trials|one \w+ cues)\b", text)
    assert not re.search(r"\b([2-9] finished trial|[2-9] trial)\b", text)


@given(NUMBERS)
def test_every_number_is_of_the_document_or_counts_its_trials(numbers: dict[str, Any]) -> None:
    stored = {float(one) for one in re.findall(r"\d+\.?\d*", json.dumps(numbers))}
    shares = {100 * one["criterion"]["at_least"] for one in numbers["trials"] if one["criterion"]}
    counts = set(range(len(numbers["trials"]) + 1))
    for one in re.findall(r"\d+\.?\d*", draft_of(numbers)):
        assert float(one.rstrip(".")) in stored | shares | counts, one


def expected_reasons(all_trials: list[dict[str, Any]]) -> Counter[str]:
    """Why trials do not count, said anew and in other words than the code's."""
    found: Counter[str] = Counter()
    for one in all_trials:
        asked = one["criterion"]
        pen = is_pen_practice(one)
        if one["voided"]:
            found["voided"] += 1
        elif one["outcome"] in ("stopped", "spoilt", "not_done"):
            found[one["outcome"]] += 1
        elif asked is None or asked["met"] is None:
            plain = "no_criterion" if asked is None else "not_measured"
            found["pen_practice" if pen else plain] += 1
        elif pen:
            found["pen_practice"] += 1
    return found


@given(NUMBERS)
def test_what_is_left_out_adds_up(numbers: dict[str, Any]) -> None:
    every, text = numbers["trials"], draft_of(numbers)
    out = expected_reasons(every)
    whole = len(every) - sum(out.values())
    # What the task lines count together is what the last line says counted.
    counted = sum(int(n) for n in re.findall(r" in \d+ of (\d+) finished", text))
    assert counted == whole
    if not out:
        assert "Kept, not counted" not in text
        return
    assert f"{len(every)} trial{'s' if len(every) > 1 else ''} in all, {whole} counted." in text
    (told,) = re.findall(r"Kept, not counted: (.*)\.$", text, re.MULTILINE)
    for name, words in REASON_WORDS.items():
        said = f"{count_word(out[name])} {words}" in told
        assert said == bool(out[name]), (name, told)


@given(NUMBERS)
def test_pen_strokes_never_read_cut(numbers: dict[str, Any]) -> None:
    pens = [one | {"kind": "trial", "mode": "cut"} for one in numbers["trials"]]
    for one in pens:
        if one["criterion"] is not None:
            one["criterion"] = {"measure": "cut_within_tolerance_share", "at_least": 0.8}
            one["criterion"] |= {"at_most": None, "met": None}
    assert "cut" not in draft_of(numbers | {"trials": pens}).lower()
