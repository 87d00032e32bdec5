"""The page for a family says what was done and with what help, in plain words and no figures."""

import re
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from analysis.quality import FLAGS
from server.family_draft import FamilyDraft, caution_words, family_draft, speaks_of_cutting
from server.family_refusals import CODE, PERCENT, name_for_family, refused_texts
from server.family_words import MODES, TASKS, WAYS, picture_words
from server.library import LIBRARY
from server.store_observations import KINDS
from server.tables import Child

# What a family page never says: figures, words of the trade, failures, causes, praise.
FORBIDDEN = re.compile(
    r"\d|%|\bmm\b|percent|trial|midline|corridor|probe|verbal|\bcue|gesture|criterion|measure|"
    r"score|deviation|session|stylus|assist|improve|better|worse|fail|error|mistake|spoil|stopp|"
    r"distress|because|normal|\bhe\b|\bshe\b|\bhis\b|\bher\b|None|_",
    re.IGNORECASE,
)
ONE_OF_MANY = re.compile(r"\ban?\s+\w*s\b")


def trial(task_id: str | None = "high-bridge", **change: Any) -> dict[str, Any]:
    """What a draft reads of a trial of ``linnet-numbers/1``."""
    return {
        "kind": "trial",
        "task_id": task_id,
        "mode": "trace",
        "condition": {"direction": "left_to_right"},
        "travelled": None,
        "hand_used": "right",
        "outcome": "finished",
        "voided": False,
        "flags": [],
        "helped": False,
        "help": None,
        "mark_id": "m",
        "task_name": "High Bridge",
    } | change


def helped(**what: Any) -> dict[str, Any]:
    return {"helped": True, "help": what}


def numbers(*trials: dict[str, Any], seen: tuple[dict[str, Any], ...] = ()) -> dict[str, Any]:
    observations = [{"text": None} | one for one in seen]
    # [C] 3 March 2026 is a Tuesday.
    return {"session": {"day": "2026-03-03"}, "trials": list(trials), "observations": observations}


def draft(*trials: dict[str, Any], **more: Any) -> FamilyDraft:
    return family_draft(numbers(*trials, **more), "Gull")


@pytest.mark.parametrize(
    ("text", "refused"),
    [
        ("Two snips per centimetre.", False),
        ("Two snips per centimeter, then one per\ncentimetre.", False),
        ("One line per centre.", False),
        ("On the path for eighty per cent.", True),
        ("On the path for eighty per cent", True),
        ("Eighty PER\u00a0CENT of it.", True),
        ("Eighty per-cent of it.", True),
        ("Eighty percent.", True),
        ("A percentage of 80.", True),
        ("At the tenth percentile.", True),
        ("80 \uff05 of it.", True),
        ("8 \u2030 of it.", True),
    ],
)
def test_a_length_is_told_from_a_percentage(text: str, refused: bool) -> None:
    assert refused_texts({"did": text}, "BW-01") == ({"did": PERCENT} if refused else {})


@pytest.mark.parametrize(
    ("code", "text", "refused"),
    [
        ("12", "Gull drew 12 lines.", False),
        ("7", "It took 7 minutes.", False),
        ("123", "Gull drew 123 lines.", False),
        ("1-2", "Gull drew 1 or 2 lines, 1-2.", False),
        ("1234", "Ask for 1234 at the door.", True),
        ("1234", "Ask for 12345 at the door.", False),
        ("12-34", "Ask for 12 34 at the door.", True),
        ("\uff11\uff12\uff13\uff14", "Ask for 1234 at the door.", True),
        ("B12", "Gull drew 12 lines.", False),
        ("B12", "Ask for b12 at the door.", True),
    ],
)
def test_a_short_number_is_a_count_and_a_long_one_the_code(
    code: str, text: str, refused: bool
) -> None:
    assert refused_texts({"did": text}, code) == ({"did": CODE} if refused else {})


@pytest.mark.parametrize(
    ("nickname", "name"), [("Gull 12", None), ("12", None), ("Gull", "Gull"), ("Gull12", "Gull12")]
)
def test_a_short_number_in_a_name_is_the_code(nickname: str, name: str | None) -> None:
    assert name_for_family(Child(code="12", nickname=nickname)) == name


def test_one_try_and_many_are_told_apart() -> None:
    assert draft(trial()).did == "On Tuesday, Gull drew a high bridge."
    assert draft(trial(), trial("swell"), trial()).did == (
        "On Tuesday, Gull drew high bridges and a line of waves."
    )
    assert draft(trial()).alone == "This was done without help."
    assert draft(trial(), trial()).alone == "All of this was done without help."


def test_each_verb_has_its_own_clause() -> None:
    snips = trial("ticket-snips", kind="entry", mode="cut")
    found = draft(trial(), trial("buoy"), trial("buoy"), snips)
    assert (
        found.did == "On Tuesday, Gull drew a high bridge and circles, and snipped paper tickets."
    )


def test_the_way_is_said_only_where_another_way_went_otherwise() -> None:
    back = {"travelled": "right_to_left"} | helped(cues={"verbal": 1})
    found = draft(trial(), trial(), trial(**back), trial(**back), trial("swell"))
    assert found.alone == (
        "Without help, Gull drew high bridges from left to right and a line of waves."
    )
    assert found.helped == "With reminders, Gull drew high bridges from right to left."
    assert "from" not in draft(trial(), trial(travelled="right_to_left")).did


def test_the_hand_is_said_only_where_the_other_hand_went_otherwise() -> None:
    left = {"hand_used": "left"} | helped(cues={"verbal": 1})
    found = draft(trial(), trial(), trial(**left), trial(**left))
    assert found.alone == "Without help, Gull drew high bridges with the right hand."
    assert found.helped == "With reminders, Gull drew high bridges with the left hand."
    assert "hand" not in draft(trial(), trial(hand_used="left")).alone


def test_hand_and_way_are_both_said_where_one_alone_does_not_tell_them_apart() -> None:
    back, left = {"travelled": "right_to_left"}, {"hand_used": "left"}
    found = draft(
        trial(), trial(**back), trial(**left), trial(**left, **back, **helped(physical="minimal"))
    )
    assert found.helped == (
        "With a helping hand, Gull drew a high bridge with the left hand from right to left."
    )
    assert found.alone == (
        "Without help, Gull drew a high bridge with the right hand from left to right, a high "
        "bridge with the right hand from right to left and a high bridge with the left hand from "
        "left to right."
    )


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({}, "A high bridge that Gull drew that day with the right hand from left to right."),
        (
            {"hand_used": "left", "travelled": "right_to_left"},
            "A high bridge that Gull drew that day with the left hand from right to left.",
        ),
        (
            {"task_id": "portholes", "hand_used": None, "condition": {"direction": "none"}},
            "Dots that Gull tapped that day.",
        ),
    ],
)
def test_a_picture_is_told_by_hand_and_way(change: dict[str, Any], words: str) -> None:
    assert picture_words(trial(**change), "Gull") == words


@pytest.mark.parametrize(
    "text",
    [
        "BW-91 drew.",
        "For bw 91:",
        "(BW91)",
        "Ask bw\N{EN DASH}91.",
        "\uff22w_91",
    ],
)
def test_a_code_is_found_however_it_is_written(text: str) -> None:
    assert refused_texts({"home": text, "did": "Gull drew."}, "BW-91") == {"home": CODE}


@pytest.mark.parametrize("text", ["BW-910", "The bow.", "ABW 91", ""])
def test_what_only_looks_like_a_code_is_printed(text: str) -> None:
    assert refused_texts({"home": text}, "BW-91") == {}


@pytest.mark.parametrize(
    ("code", "text", "there"),
    [
        ("Mole", "Ask Mole.", True),
        ("Mole", "On the mole.", False),
        ("A", "A high bridge.", False),
        ("--", "Up -- down", True),
        ("7007", "7007 lines", True),
    ],
)
def test_a_code_like_a_word_is_sought_as_it_is_written(code: str, text: str, there: bool) -> None:
    assert (refused_texts({"home": text}, code) == {"home": CODE}) is there


@pytest.mark.parametrize(
    "text", ["80 % of it", "80%", "80\N{FULLWIDTH PERCENT SIGN}", "eighty percent", "per cent"]
)
def test_a_percentage_is_found(text: str) -> None:
    assert refused_texts({"later": text}, "BW-91") == {"later": PERCENT}
    assert refused_texts({"later": "The perch is done."}, "BW-91") == {}


@pytest.mark.parametrize(
    ("note", "lead"),
    [
        ({"cues": {"verbal": 1}}, "With a reminder,"),
        ({"cues": {"verbal": 1, "gesture": 1}}, "With reminders,"),
        ({"cues": {"demonstration": 1}}, "With someone showing how first,"),
        ({"physical": "minimal"}, "With a helping hand,"),
        ({"hand_over_hand": True, "physical": "none"}, "With a helping hand,"),
        ({"given": True}, "With some help,"),
        ({"cues": {"verbal": 2}, "physical": "total"}, "With reminders and a helping hand,"),
    ],
)
def test_help_is_named_by_what_it_was(note: dict[str, Any], lead: str) -> None:
    assert draft(trial(**helped(**note))).helped == f"{lead} Gull drew a high bridge."


def test_help_on_some_tries_is_not_said_of_all() -> None:
    found = draft(trial(), trial(), trial(**helped(cues={"verbal": 1})))
    assert found.helped == "With a reminder on one try, Gull drew high bridges."
    assert found.alone == ""


def test_what_nobody_marked_is_not_called_done_without_help() -> None:
    bare = {"mark_id": None, "outcome": None}
    assert draft(trial(**bare)).alone == ""
    assert draft(trial(**bare), trial()).alone == ""
    assert draft(trial(**bare)).did


def test_a_mark_that_says_only_which_hand_drew_says_nothing_of_help() -> None:
    assert draft(trial(mark_id="m", outcome=None)).alone == ""
    assert draft(trial(mark_id="m", outcome=None), trial()).alone == ""


@pytest.mark.parametrize(
    "change",
    [
        {"voided": True},
        {"outcome": "stopped"},
        {"outcome": "spoilt"},
        {"outcome": "not_done"},
        {"flags": ["nothing_drawn"]},
    ],
)
def test_what_does_not_count_is_not_told(change: dict[str, Any]) -> None:
    assert draft(trial(**change)) == FamilyDraft("", "", "", "", cutting=False)
    assert draft(trial("swell"), trial(**change)).did == "On Tuesday, Gull drew a line of waves."


def test_a_pen_along_a_cutting_line_is_no_cutting() -> None:
    found = draft(trial("rope-lengths", mode="cut"))
    assert found.did == "On Tuesday, Gull followed a cutting line with the pen."
    assert not found.cutting


@pytest.mark.parametrize("outcome", ["finished", "stopped", "spoilt"])
def test_scissors_bring_the_caution_however_it_ended(outcome: str) -> None:
    assert draft(trial("life-ring", kind="cut", mode="cut", outcome=outcome)).cutting
    assert draft(trial("punch-row", kind="entry", mode="tap", outcome=outcome)).cutting
    assert not draft(trial("life-ring", kind="cut", mode="cut", outcome="not_done")).cutting
    assert not draft(trial("tar-line", kind="entry")).cutting


def test_an_activity_with_scissors_brings_the_caution() -> None:
    assert draft(seen=({"kind": "activity", "text": "Scissors: old sail cloth"},)).cutting
    assert not draft(seen=({"kind": "activity", "text": "Rolling dough"},)).cutting
    # What somebody said is no activity.
    assert not draft(seen=({"kind": "said", "text": "Asked for scissors."},)).cutting


def test_quiet_breaks_are_counted_in_words() -> None:
    rest = {"kind": "rest", "text": "the bell", "minutes": 6}
    assert draft(seen=(rest,)).breaks == "Gull had a quiet break."
    assert draft(seen=(rest, rest)).breaks == "Gull had quiet breaks."
    assert draft(seen=({"kind": "distress"},)).breaks == ""


def test_a_child_without_a_nickname_is_your_child() -> None:
    found = family_draft(numbers(trial(), seen=({"kind": "rest"},)), None)
    assert found.did == "On Tuesday, your child drew a high bridge."
    assert found.breaks == "Your child had a quiet break."
    assert caution_words(None).startswith("An adult stays beside your child: scissors")


def test_every_task_of_the_library_has_words_for_a_family() -> None:
    assert {task["task_id"] for task in LIBRARY} == TASKS.keys()
    assert {task["mode"] for task in LIBRARY} <= MODES.keys()


def test_words_about_scissors_are_found() -> None:
    assert speaks_of_cutting(["Cut bunting together."])
    assert not speaks_of_cutting(["A haircut is no matter.", ""])


HELPS = st.fixed_dictionaries(
    {},
    optional={
        "given": st.booleans(),
        "setup": st.booleans(),
        "cues": st.dictionaries(
            st.sampled_from(["verbal", "gesture", "demonstration"]), st.integers(0, 9)
        ),
        "physical": st.sampled_from(["none", "minimal", "moderate", "maximal", "total"]),
        "hand_over_hand": st.booleans(),
    },
)
TRIALS = st.builds(
    lambda **fields: trial(**fields),
    task_id=st.sampled_from([*TASKS, "own-7", None]),
    kind=st.sampled_from(["trial", "cut", "entry"]),
    mode=st.sampled_from([*MODES, "another"]),
    condition=st.fixed_dictionaries({"direction": st.sampled_from([*WAYS, "none", None])}),
    travelled=st.sampled_from([*WAYS, None]),
    hand_used=st.sampled_from(["left", "right", "free", "both", None]),
    outcome=st.sampled_from(["finished", "stopped", "spoilt", "not_done", None]),
    voided=st.booleans(),
    flags=st.lists(st.sampled_from(list(FLAGS)), max_size=2),
    helped=st.booleans(),
    help=st.none() | HELPS,
    mark_id=st.sampled_from(["m", None]),
    task_name=st.sampled_from(["Probe 6 mm, 80 % (verbal cue)", None]),
)
SEEN = st.fixed_dictionaries(
    {"kind": st.sampled_from(list(KINDS)), "text": st.sampled_from(["6 min, midline score", None])}
)


@given(st.lists(TRIALS, max_size=12), st.lists(SEEN, max_size=4), st.sampled_from(["Gull", None]))
@example([trial("two-oars"), trial("two-oars", mode="both")], [], "Gull")
def test_no_figure_no_word_of_the_trade_and_whole_sentences(
    trials: list[dict[str, Any]], seen: list[dict[str, Any]], nickname: str | None
) -> None:
    found = family_draft(numbers(*trials, seen=tuple(seen)), nickname)
    texts = [found.did, found.alone, found.helped, found.breaks, caution_words(nickname)]
    for text in filter(None, texts):
        assert not FORBIDDEN.search(text), text
        assert not ONE_OF_MANY.search(text), text
        assert "  " not in text
        for sentence in re.split(r"(?<=\.) ", text):
            assert re.fullmatch(r"[A-Z][^.]*\.", sentence), text
            assert (
                nickname is None
                or sentence.startswith(("All of this", "This was"))
                or ("Gull" in sentence or "Follow" in sentence)
            )
    if found.alone or found.helped:
        assert found.did


@given(st.lists(TRIALS, min_size=1, max_size=8))
def test_help_is_never_denied_where_it_was_noted(trials: list[dict[str, Any]]) -> None:
    found = family_draft(numbers(*trials), "Gull")
    counted = [
        one
        for one in trials
        if not one["voided"]
        and one["outcome"] in (None, "finished")
        and "nothing_drawn" not in one["flags"]
    ]
    if any(one["helped"] for one in counted):
        assert found.helped
        assert "All of this" not in found.alone
        assert "This was" not in found.alone
    else:
        assert not found.helped
