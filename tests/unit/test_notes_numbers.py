"""The numbers of a note: counted, frozen when it is signed, compared with what is later."""

import sqlite3
from contextlib import closing
from copy import deepcopy
from typing import Any
from uuid import uuid4

import pytest
from fastapi.testclient import TestClient

from analysis import ANALYSIS_VERSION
from server import scoring
from server.note_changes import changed_since
from server.note_numbers import groups_of
from tests.documents import sound
from tests.ended import end_session
from tests.entry_documents import sound_entry
from tests.practice import Practice, drawn, raw_of

TEXTS = {"subjective": "", "objective": "", "assessment": "Steadier.", "plan": ""}
# The corridor of the drawn trials is 8 mm wide: 1 mm beside is on the path, 6 mm is not.
ON, OFF = 1.0, 6.0


def path_of(practice: Practice) -> str:
    return f"/api/sessions/{practice.ids['Gull session']}/note"


def numbers(practice: Practice, client: TestClient) -> dict[str, Any]:
    found: dict[str, Any] = client.get(path_of(practice)).json()["numbers"]
    return found


def send(practice: Practice, client: TestClient, beside_mm: float, **top: Any) -> str:
    tree = drawn(beside_mm=beside_mm, **top)
    answer = practice.send(client, tree)
    assert answer.status_code == 201, answer.text
    trial_id: str = tree["trial_id"]
    return trial_id


def mark(client: TestClient, trial_id: str, **what: Any) -> None:
    answer = client.post(f"/api/trials/{trial_id}/marks", json={"id": str(uuid4())} | what)
    assert answer.status_code == 201, answer.text


def execute(practice: Practice, statement: str, *values: Any) -> None:
    with closing(sqlite3.connect(practice.path)) as connection, connection:
        assert connection.execute(statement, values).rowcount == 1


def void(practice: Practice, trial_id: str, voided: bool = True) -> None:
    execute(
        practice,
        "INSERT INTO void (id, trial_id, voided, reason, account_id, at)"
        " VALUES (?, ?, ?, 'bell', ?, '2026-03-03 12:00:00')",
        str(uuid4()),
        trial_id,
        voided,
        practice.ids["ferry"],
    )


def sign(practice: Practice, client: TestClient) -> dict[str, Any]:
    client.put(path_of(practice), json=TEXTS | {"based_on": 0})
    end_session(client, practice.ids["Gull session"])
    answer = client.post(f"{path_of(practice)}/sign", json={"based_on": 1})
    assert answer.status_code == 200, answer.text
    signed: dict[str, Any] = answer.json()["numbers"]
    return signed


def changes(practice: Practice, client: TestClient) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = client.get(path_of(practice)).json()["changed_since_signing"]
    return found


# Counting


def test_k_of_n_counts_finished_trials_and_says_what_was_left_out(practice: Practice) -> None:
    ferry, tablet = practice.desk("ferry"), practice.tablet()
    ids = [send(practice, tablet, beside, seq=at) for at, beside in enumerate([ON, ON, OFF] * 2)]
    mark(tablet, ids[0], outcome="finished", help={"cues": {"verbal": 2}})
    mark(tablet, ids[1], outcome="stopped")
    mark(tablet, ids[2], outcome="finished")
    mark(tablet, ids[3], outcome="spoilt", why="a sneeze")
    void(practice, ids[4])
    mark(tablet, ids[4], outcome="stopped")
    (group,) = numbers(practice, ferry)["groups"]
    # [C] ids 0, 2 and 5 count (5 was never marked), 0 is on the path; the void goes first.
    assert (group["met"], group["of"], group["helped"]) == (1, 3, 1)
    assert group["left_out"] == {
        "voided": 1,
        "stopped": 1,
        "spoilt": 1,
        "not_done": 0,
        "no_criterion": 0,
        "not_measured": 0,
    }
    assert (group["hand"], group["direction"]) == ("left", "left_to_right")
    assert (group["task_name"], group["half_width_mm"]) == ("Quay Edge", 4.0)
    assert group["criterion"] == {
        "measure": "in_corridor_share",
        "at_least": 0.8,
        "at_most": None,
    }


def test_width_hand_direction_and_criterion_make_groups_of_their_own(
    practice: Practice,
) -> None:
    ferry, tablet = practice.desk("ferry"), practice.tablet()
    base = sound()
    wide = base["guide"] | {"corridor_mm": 16.0}
    easier = deepcopy(base["task"])
    easier["criterion"] = {"measure": "in_corridor_share", "at_least": 0.5}
    none = deepcopy(base["task"])
    del none["criterion"]
    send(practice, tablet, ON, seq=1)
    send(practice, tablet, OFF, seq=2, guide=wide)
    send(practice, tablet, ON, seq=3, condition=base["condition"] | {"hand": "right"})
    marked = send(practice, tablet, ON, seq=4)
    mark(tablet, marked, outcome="finished", hand_used="right")
    send(practice, tablet, ON, seq=5, task=easier)
    send(practice, tablet, ON, seq=6, task=none)
    groups = numbers(practice, ferry)["groups"]
    assert [(one["hand"], one["half_width_mm"], one["met"], one["of"]) for one in groups] == [
        ("left", 4.0, 1, 1),
        ("left", 8.0, 1, 1),
        # Asked or marked, it was the right hand that drew.
        ("right", 4.0, 2, 2),
        ("left", 4.0, 1, 1),
        ("left", 4.0, 0, 0),
    ]
    assert groups[-1]["left_out"]["no_criterion"] == 1
    assert groups[-1]["criterion"] is None


def line(**change: Any) -> dict[str, Any]:
    """What `groups_of` reads of a trial."""
    criterion = {"measure": "in_corridor_share", "at_least": 0.8, "at_most": None}
    return {
        "task_id": "quay-edge",
        "task_name": "Quay Edge",
        "mode": "trace",
        "guide_id": "g1-0",
        "half_width_mm": 4.0,
        "hand_used": "left",
        "travelled": None,
        "condition": {"direction": "left_to_right"},
        "outcome": None,
        "voided": False,
        "helped": False,
        "criterion": criterion | {"met": True, "value": 0.9},
    } | change


def test_a_trial_that_could_not_be_measured_is_left_out_by_name() -> None:
    unmeasured = line(criterion=line()["criterion"] | {"met": None, "value": None})
    (group,) = groups_of([line(), unmeasured, line(outcome="not_done")])
    assert (group["met"], group["of"]) == (1, 1)
    assert (group["left_out"]["not_measured"], group["left_out"]["not_done"]) == (1, 1)


@pytest.mark.parametrize("calibrated", [True, False])
def test_what_could_not_be_computed_is_not_measured_and_keeps_what_was_asked(
    practice: Practice, monkeypatch: pytest.MonkeyPatch, calibrated: bool
) -> None:
    def broken(_workings: Any) -> None:
        raise ZeroDivisionError

    ferry, tablet = practice.desk("ferry"), practice.tablet()
    device = sound()["device"] | {"calibrated": calibrated}
    send(practice, tablet, ON, seq=1, device=device)
    with monkeypatch.context() as patch:
        patch.setattr(scoring, "make_report", broken)
        lost = send(practice, tablet, ON, seq=2, device=device)
        mark(tablet, lost, outcome="finished")
        found = numbers(practice, ferry)
        text = ferry.get(path_of(practice).removeprefix("/api")).text
    failed = found["trials"][-1]
    assert failed["flags"] == ["scoring_failed"]
    asked = {"measure": "in_corridor_share", "at_least": 0.8, "at_most": None}
    assert failed["criterion"] == asked | {"met": None, "value": None}
    assert all(group["left_out"]["no_criterion"] == 0 for group in found["groups"])
    assert sum(group["left_out"]["not_measured"] for group in found["groups"]) == 1
    # The line and its width are known without computing, unless the tablet's mm are not.
    assert len(found["groups"]) == (1 if calibrated else 2)
    assert "varies along the line" not in text
    assert "without a criterion" not in text
    assert "1 not measured" in text


def test_a_failed_computation_without_a_criterion_is_not_measured_either() -> None:
    (group,) = groups_of([line(criterion=None, flags=["scoring_failed"])])
    assert (group["left_out"]["not_measured"], group["left_out"]["no_criterion"]) == (1, 0)


def test_a_criterion_on_what_a_ruler_said_can_be_told(practice: Practice) -> None:
    tree = sound_entry()
    del tree["plan"]
    tree["task"]["criterion"] = {"entered": "largest_stray_mm", "at_most": 4.0}
    ferry, params = practice.desk("ferry"), {"session": practice.ids["Gull session"]}
    address = f"/api/entries/{tree['entry_id']}"
    assert ferry.put(address, content=raw_of(tree), params=params).status_code == 201
    page = ferry.get(path_of(practice).removeprefix("/api"))
    assert page.status_code == 200
    assert "arthest from the line, by ruler, at most 4" in page.text


def test_what_was_asked_stands_in_where_nothing_was_travelled() -> None:
    (group,) = groups_of([line(), line(travelled="left_to_right")])
    assert (group["direction"], group["of"]) == ("left_to_right", 2)
    assert len(groups_of([line(), line(travelled="right_to_left")])) == 2


# What is kept of each trial


def test_the_numbers_hold_session_trials_measures_and_observations(practice: Practice) -> None:
    ferry, tablet = practice.desk("ferry"), practice.tablet()
    session = f"/api/sessions/{practice.ids['Gull session']}"
    facts = {
        "started_at": "2026-03-03T09:10:00+00:00",
        "ended_at": "2026-03-03T09:38:00+00:00",
        "attendance": "attended",
        "kind": "individual",
        "position": "seated",
    }
    ferry.patch(session, json=facts)
    observed = {"id": str(uuid4()), "kind": "rest", "minutes": 6, "text": "the bell"}
    ferry.post(f"{session}/observations", json=observed)
    trial_id = send(practice, tablet, ON)
    mark(tablet, trial_id, outcome="finished", help={"physical": "minimal"})
    found = numbers(practice, ferry)
    assert (found["format"], found["analysis_version"]) == ("linnet-numbers/1", ANALYSIS_VERSION)
    assert found["session"] == facts | {
        "session_id": practice.ids["Gull session"],
        "day": "2026-03-03",
        "minutes": 28.0,  # [C] 09:10 to 09:38
        "place": "Tidewell School",
    }
    (trial,) = found["trials"]
    report = ferry.get(f"/api/trials/{trial_id}/report").json()
    assert trial["scores"] == report["scores"]
    assert trial["measures"].keys() == report["measures"].keys()
    for name, value in report["measures"].items():
        assert trial["measures"][name]["value"] == value["value"], name
        assert trial["measures"][name]["unit"] == value["unit"], name
        assert (trial["measures"][name]["reason"] is None) == (value["value"] is not None), name
    assert (trial["helped"], trial["help"]) == (True, {"physical": "minimal"})
    assert trial["criterion"] == report["criterion"] | {"at_least": 0.8, "at_most": None}
    assert trial["criterion"]["met"] is True
    assert (trial["amendment_no"], trial["voided"], trial["late"]) == (0, False, False)
    assert [one["text"] for one in found["observations"]] == ["the bell"]


# Frozen


def test_what_is_signed_stays_whatever_comes_later(practice: Practice) -> None:
    ferry, tablet = practice.desk("ferry"), practice.tablet()
    first, second = (send(practice, tablet, ON, seq=at) for at in (1, 2))
    signed = sign(practice, ferry)
    assert changes(practice, ferry) == []
    added = send(practice, tablet, OFF, seq=3)
    mark(tablet, first, outcome="spoilt", why="a sneeze")
    void(practice, second)
    assert numbers(practice, ferry) == signed
    assert changes(practice, ferry) == [
        {
            "what": "marked_again",
            "trial_id": first,
            "fields": ["outcome", "why"],
            "signed": {"outcome": None, "why": None},
            "now": {"outcome": "spoilt", "why": "a sneeze"},
        },
        {"what": "voided", "trial_id": second},
        {"what": "trial_added", "trial_id": added, "late": False},
    ]
    void(practice, second, voided=False)
    assert [one["what"] for one in changes(practice, ferry)] == ["marked_again", "trial_added"]


def test_a_trial_that_was_moved_away_is_told(practice: Practice) -> None:
    ferry, tablet = practice.desk("ferry"), practice.tablet()
    trial_id = send(practice, tablet, ON)
    signed = sign(practice, ferry)
    made = ferry.post(
        f"/api/children/{practice.ids['Gull']}/sessions", json={"day": "2026-03-02"}
    ).json()
    execute(practice, "UPDATE trial SET session_id = ?", made["session_id"])
    assert changes(practice, ferry) == [{"what": "moved_away", "trial_id": trial_id}]
    assert numbers(practice, ferry) == signed


def test_an_amendment_after_signing_is_told_with_what_it_changed(practice: Practice) -> None:
    ferry, tablet = practice.desk("ferry"), practice.tablet()
    trial_id = send(practice, tablet, ON)
    signed = sign(practice, ferry)
    body = {
        "id": str(uuid4()),
        "patch": {"hand_used": "right"},
        "reason": "It was the right hand.",
    }
    answer = ferry.post(f"/api/trials/{trial_id}/amendments", json=body)
    assert answer.status_code == 201, answer.text
    found = changes(practice, ferry)
    assert found[0] == {"what": "amended", "trial_id": trial_id, "signed": 0, "now": 1}
    assert ("hand_used", "left", "right") in [
        (one.get("name"), one.get("signed"), one.get("now")) for one in found
    ]
    assert numbers(practice, ferry) == signed


def test_a_value_that_another_version_computes_otherwise_is_told_with_both(
    practice: Practice,
) -> None:
    ferry, tablet = practice.desk("ferry"), practice.tablet()
    trial_id = send(practice, tablet, ON)
    signed = sign(practice, ferry)
    later = deepcopy(signed)
    later["trials"][0]["analysis_version"] = "99.0"
    value = later["trials"][0]["measures"]["deviation_mean_abs"]
    was, value["value"] = value["value"], 2.5
    assert changed_since(signed, later) == [
        {
            "what": "value_changed",
            "trial_id": trial_id,
            "name": "deviation_mean_abs",
            "signed": value | {"value": was},
            "now": value,
            "signed_version": ANALYSIS_VERSION,
            "now_version": "99.0",
        }
    ]


def test_a_rescored_session_keeps_its_signed_numbers(
    practice: Practice, monkeypatch: pytest.MonkeyPatch
) -> None:
    ferry, tablet = practice.desk("ferry"), practice.tablet()
    trial_id = send(practice, tablet, ON)
    signed = sign(practice, ferry)
    for module in ("store_results", "note_numbers", "store_sessions"):
        monkeypatch.setattr(f"server.{module}.ANALYSIS_VERSION", "99.0")
    assert numbers(practice, ferry) == signed
    # Computed again by a version that says the same: nothing to tell.
    assert changes(practice, ferry) == []
    assert ferry.get(f"/api/trials/{trial_id}/report").status_code == 200
    with closing(sqlite3.connect(practice.path)) as connection:
        kept = connection.execute("SELECT analysis_version FROM result ORDER BY id").fetchall()
    assert kept == [(ANALYSIS_VERSION,), ("99.0",)]


def test_a_returned_note_shows_what_is_now_and_freezes_it_anew(practice: Practice) -> None:
    ferry, harbour, tablet = practice.desk("ferry"), practice.desk("harbour"), practice.tablet()
    send(practice, tablet, ON, seq=1)
    signed = sign(practice, ferry)
    harbour.post(f"{path_of(practice)}/return", json={"reason": "Say more."})
    send(practice, tablet, ON, seq=2)
    assert len(numbers(practice, ferry)["trials"]) == 2
    ferry.put(path_of(practice), json=TEXTS | {"based_on": 1})
    again = ferry.post(f"{path_of(practice)}/sign", json={"based_on": 2}).json()
    assert [len(one["trials"]) for one in (signed, again["numbers"])] == [1, 2]
    with practice.app.state.sessions() as db:
        from server.store_notes import events_of

        contents = [one.content for one in events_of(db, practice.ids["Gull session"])]
    kept = [one["numbers"] for one in contents if one is not None]
    # The first signature stays with what it stood under.
    assert kept == [signed, again["numbers"]]


def test_facts_of_the_session_that_differ_are_told() -> None:
    signed = {"session": {"place": "Tidewell School", "kind": None}, "trials": []}
    live = {"session": {"place": "Ropewalk Clinic", "kind": None}, "trials": []}
    assert changed_since(signed, live) == [
        {
            "what": "session_changed",
            "trial_id": None,
            "fields": ["place"],
            "signed": {"place": "Tidewell School"},
            "now": {"place": "Ropewalk Clinic"},
        }
    ]
