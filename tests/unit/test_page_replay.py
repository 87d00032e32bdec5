"""What the replay of a trial is made of."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from analysis.workings import Workings
from server.documents import read_trial
from server.replay import NO_CLOCK, NOTHING, replay_of
from server.scoring import score
from tests.practice import TELLING, Practice, drawn, raw_of

TRIALS = Path(__file__).parents[2] / "fixtures" / "trials"


def workings_of(name: str) -> tuple[Workings, dict[str, Any]]:
    document = read_trial((TRIALS / f"{name}.json").read_bytes())
    return Workings(document.to_trial()), score(document)


def sent(practice: Practice, **more: Any) -> str:
    """A new trial of Gull; returns its id."""
    tree = drawn(**more)
    answer = practice.send(practice.tablet(), tree)
    assert answer.status_code == 201, answer.text
    return str(tree["trial_id"])


@pytest.mark.parametrize("name", ["good", "both", "both-hold", "tap", "join", "scribble"])
def test_columns_of_a_replay_are_of_one_length_and_rise_within_strokes(name: str) -> None:
    workings, report = workings_of(name)
    replay = replay_of(workings, report)
    samples = {key: column for key, column in replay["samples"].items() if column is not None}
    assert replay["reason"] is None
    assert {len(column) for column in samples.values()} == {len(workings.trace)}
    for stroke in set(samples["stroke"]):
        t_ms = np.array(samples["t_ms"])[np.array(samples["stroke"]) == stroke]
        assert (np.diff(t_ms) >= 0).all()
    assert "NaN" not in json.dumps(replay)


def test_a_replay_tells_distance_and_speed_as_they_were_made() -> None:
    # [C] 160 mm in 4 s, 1 mm beside the line throughout.
    document = read_trial(raw_of(drawn(beside_mm=1.0)))
    samples = replay_of(Workings(document.to_trial()), score(document))["samples"]
    assert set(samples["distance_mm"]) == {1.0}
    assert samples["speed_mm_s"][240] == pytest.approx(40.0, abs=0.2)


def test_of_two_hands_the_one_that_holds_has_no_distance_from_a_line() -> None:
    workings, report = workings_of("both-hold")
    replay = replay_of(workings, report)
    holder = next(one.pointer for one in workings.contacts if one.part is None)
    samples = replay["samples"]
    known = {
        pointer
        for pointer, value in zip(samples["pointer"], samples["distance_mm"], strict=True)
        if value is not None
    }
    assert known == {1 - holder}


def test_a_replay_without_scale_tells_no_millimetres_and_says_so() -> None:
    workings, report = workings_of("uncalibrated")
    replay = replay_of(workings, report)
    assert replay["samples"]["speed_mm_s"] is None
    assert replay["samples"]["distance_mm"] is None
    assert "not calibrated" in replay["speed_reason"]


def test_a_replay_that_cannot_be_says_why() -> None:
    workings, report = workings_of("nothing-drawn")
    assert replay_of(workings, report)["reason"] == NOTHING
    tree = drawn()
    tree["samples"]["t_ms"][200] -= 900.0
    document = read_trial(raw_of(tree))
    assert replay_of(Workings(document.to_trial()), score(document))["reason"] == NO_CLOCK


def test_pressure_that_was_not_measured_is_a_sentence(practice: Practice) -> None:
    replay = practice.desk("ferry").get(f"/trials/{sent(practice)}/replay.json").json()
    assert replay["samples"]["pressure"] is None
    assert replay["pressure_reason"] == "The pen or finger has no pressure sensor."
    assert replay["pressure_note"] == "Share of this pen's range, not force."


def test_a_replay_tells_nobody_who_the_child_is(practice: Practice) -> None:
    text = practice.desk("ferry").get(f"/trials/{sent(practice)}/replay.json").text
    assert not [word for word in TELLING if word in text]
