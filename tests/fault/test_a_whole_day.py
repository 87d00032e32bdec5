"""A whole day by the doors alone: from the owner's link to an erased child, on a real server."""

import csv
from datetime import date, timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest

from tests.callers import Caller, served, staff, traced
from tests.keepers import assert_gone, done, packed_of

CODE, NICKNAME, ARM = "ZQ-7741", "Quillfeather", "My arm is as tired as a wet rope."
CORRIDOR_MM = 12.0
AIM = {"measure": "in_corridor_share", "criterion": {"at_least": 0.8}, "k": 2, "n": 3, "days": 1}


def child_and_goal(people: dict[str, Caller], today: date) -> tuple[str, str]:
    ferry, harbour = people["ferry"], people["harbour"]
    made = ferry.make("/api/children", code=CODE, nickname=NICKNAME, sign=["boat", "kite"])
    child = f"/api/children/{made['child_id']}"
    for purpose in ("measuring", "research"):
        given = {"purpose": purpose, "given_on": today.isoformat(), "given_by": "parent"}
        ferry.make(f"{child}/consents", **given)
    conditions = {"task_id": "high-bridge", "corridor_mm": CORRIDOR_MM, "hand": "right"}
    earlier = {"k": 1, "n": 3, "day": (today - timedelta(days=1)).isoformat()}
    aim = AIM | {"conditions": conditions, "purpose": "The harbour map.", "baseline": earlier}
    assert ferry.ask("POST", f"{child}/goals", aim)[0] == 403
    goal = harbour.make(f"{child}/goals", **aim)["goal_id"]
    # A second assistant sees the child from the link to its end.
    lantern = people["lantern"].get("/api/account")["account_id"]
    assert people["lantern"].ask("GET", child)[0] == 404
    harbour.make(f"{child}/links", account_id=lantern)
    people["lantern"].get(child)
    harbour.make(f"{child}/links/{lantern}/end", status=200)
    assert people["lantern"].ask("GET", child)[0] == 404
    return child, goal


def planned(ferry: Caller, child: str, today: date) -> str:
    """A session with four tasks, one of them the practice's own."""
    drawn = "M 0 30 C 40 0 80 60 120 30"
    own = ferry.make("/api/tasks", name="Rope Loop", mode="trace", svg_path=drawn, mm_per_unit=1)
    made = ferry.make(f"{child}/sessions", day=today.isoformat(), place="Tidewell School")
    session = f"/api/sessions/{made['session_id']}"
    for version, (task_id, more) in enumerate(
        {
            "high-bridge": {"corridor_mm": CORRIDOR_MM, "repetitions": 6},
            "quay-edge": {"step": {"dimension": "corridor_mm", "value": 8}},
            "portholes": {"step": {"dimension": "diameter_mm", "value": 18}},
            own["task"]["task_id"]: {},
        }.items()
    ):
        item = {"task_id": task_id, "hand": "right", "tool": "stylus", "repetitions": 1} | more
        kept = ferry.make(f"{session}/plan/items", based_on=version, **item)
        assert kept["version"] == len(kept["items"]) == version + 1
    return session


def drawn_and_marked(tablet: Caller) -> list[dict[str, Any]]:
    """Eight trials: six of the bridge (two inside, two far outside, two that do not count)."""
    pack, told = tablet.get("/api/tablet/day"), {"id": str(uuid4())}
    calibrated = told | {"px_per_mm": 5.2, "screen_mm": [207.0, 136.0]}
    tablet.make("/api/tablet/calibrations", **calibrated)
    rows = ((0, 1.0), (0, 1.0), (0, 9.0), (0, 9.0), (0, 1.0), (0, 1.0), (1, 1.0), (3, 1.0))
    trees = [traced(pack, at, seq, beside) for seq, (at, beside) in enumerate(rows)]
    outcomes = ["finished"] * 4 + ["stopped", "spoilt"] + ["finished"] * 2
    for tree, outcome in zip(trees, outcomes, strict=True):
        address = f"/api/trials/{tree['trial_id']}"
        assert tablet.ask("PUT", address, tree)[0] == 201
        assert tablet.ask("PUT", address, tree)[0] == 200
        helped = {"setup": True} | ({"cues": {"verbal": 2}} if tree["seq"] == 6 else {})
        tablet.make(f"{address}/marks", id=str(uuid4()), outcome=outcome, help=helped)
    return trees


def progress(caller: Caller, goal: str) -> tuple[int, int, dict[str, int]]:
    found = caller.get(f"/api/goals/{goal}/progress")
    left_out = {one["reason"]: one["count"] for one in found["left_out"]}
    return found["latest"]["k"], found["latest"]["n"], left_out


def corrected(ferry: Caller, goal: str, ids: list[str]) -> None:
    """[C] Two of the four that count are inside; one amended and one voided leave one of two."""
    # The goal looks at the last three: inside, outside, outside.
    assert progress(ferry, goal) == (1, 3, {"stopped": 1, "spoilt": 1})
    patch = {"patch": {"hand_used": "left"}, "reason": "The other hand took over."}
    ferry.make(f"/api/trials/{ids[0]}/amendments", id=str(uuid4()), **patch)
    voided = {"voided": True, "reason": "Somebody else drew."}
    ferry.make(f"/api/trials/{ids[3]}/voids", id=str(uuid4()), **voided)
    assert progress(ferry, goal) == (1, 2, {"stopped": 1, "spoilt": 1, "voided": 1})


def observed(ferry: Caller, session: str, trial_id: str) -> None:
    for seen in (
        {"kind": "helper_hand_holds"},
        {"kind": "grip_dynamic_tripod", "trial_id": trial_id},
        {"kind": "activity", "text": "Threading ropes", "minutes": 6},
        {"kind": "rest", "minutes": 4},
        {"kind": "said", "text": ARM},
    ):
        ferry.make(f"{session}/observations", id=str(uuid4()), **seen)


def written_and_signed(people: dict[str, Caller], session: str, ids: list[str]) -> dict[str, Any]:
    """Draft, refused, signed, returned, drafted again, signed, co-signed, with an addendum."""
    ferry, harbour, note = people["ferry"], people["harbour"], f"{session}/note"
    words = {"subjective": ARM, "objective": "High Bridge.", "assessment": "", "plan": "Go on."}

    def write(assessment: str) -> dict[str, Any]:
        body = words | {"assessment": assessment, "based_on": ferry.get(note)["revision"]}
        status, kept = ferry.ask("PUT", note, body)
        assert (status, kept["state"]) == (200, "draft")
        return {"based_on": kept["revision"]}

    status, refused = ferry.ask("POST", f"{note}/sign", write(""))
    assert (status, refused["errors"][0]["path"]) == (422, "/assessment")
    status, refused = ferry.ask("POST", f"{note}/sign", write("Steady."))
    assert [one["path"] for one in refused["errors"]] == ["/started_at", "/ended_at"]
    came = [ferry.get(f"/api/trials/{one}")["received_at"] for one in (ids[0], ids[-1])]
    times = dict(zip(("started_at", "ended_at"), came, strict=True))
    assert ferry.ask("PATCH", session, times)[0] == 200
    signed = ferry.make(f"{note}/sign", status=200, **write("Steady."))
    assert [one["session_id"] for one in harbour.get("/api/notes?state=signed")["notes"]] == [
        session.rpartition("/")[2]
    ]
    harbour.make(f"{note}/return", status=200, reason="Say which hand.")
    assert ferry.ask("POST", f"{note}/sign", {"based_on": signed["revision"]})[0] == 409
    ferry.make(f"{note}/sign", status=200, **write("Steady with the right hand."))
    assert ferry.ask("POST", f"{note}/cosign", {})[0] == 403
    harbour.make(f"{note}/cosign", status=200)
    ferry.make(f"{note}/addenda", id=str(uuid4()), text="The aide called later.")
    kept: dict[str, Any] = ferry.get(note)
    assert (kept["state"], kept["changed_since_signing"]) == ("cosigned", [])
    assert " ".join(event["kind"] for event in kept["events"]) == (
        "drafted signed returned drafted signed cosigned addendum"
    )
    return kept


def assert_numbers(ferry: Caller, numbers: dict[str, Any], ids: list[str]) -> None:
    """The note holds the numbers of the reports; its counts are [C] by hand."""
    assert [one["trial_id"] for one in numbers["trials"]] == ids
    for one in numbers["trials"]:
        report = ferry.get(f"/api/trials/{one['trial_id']}/report")
        assert len(report["measures"]) > 50
        for name, kept in one["measures"].items():
            told = report["measures"][name]
            assert (kept["value"], kept["reason"]) == (told["value"], told.get("reason"))
        assert one["measures"]["deviation_mean_abs"]["value"] == pytest.approx(
            9.0 if one["seq"] in (2, 3) else 1.0, abs=0.1
        )
    counts = {(one["task_id"][:11], one["hand"]): one for one in numbers["groups"]}
    told = {key: (one["met"], one["of"]) for key, one in counts.items()}
    bridge = counts["high-bridge", "right"]["left_out"]
    assert told["high-bridge", "right"] == (1, 2)
    assert told["high-bridge", "left"] == told["quay-edge", "right"] == (1, 1)
    assert (bridge["voided"], bridge["stopped"], bridge["spoilt"]) == (1, 1, 1)
    assert [one["kind"] for one in numbers["observations"]][-2:] == ["rest", "said"]


def assert_unseen(people: dict[str, Caller], addresses: list[str]) -> None:
    for address in addresses:
        assert people["ferry"].ask("GET", address)[0] == 200, address
        assert people["lantern"].ask("GET", address)[0] == 404, address
        assert people["beacon"].ask("GET", address)[0] == 403, address
        assert people["purser"].ask("GET", address)[0] == 403, address


def exported(people: dict[str, Caller], ids: list[str]) -> list[dict[str, str]]:
    tables = {
        name: people["beacon"].get(f"/api/export/{name}.csv")
        for name in ("trials", "measures", "series", "children")
    }
    for text in tables.values():
        for telling in (CODE, NICKNAME, ARM, "Tidewell", *ids):
            assert telling not in text
    return list(csv.DictReader(tables["trials"].splitlines()))


@pytest.mark.slow
def test_a_day_from_the_link_of_the_owner_to_an_erased_child(tmp_path: Path) -> None:
    path, away = tmp_path / "practice" / "practice.sqlite3", tmp_path / "away.sqlite3"
    with served(path) as (url, secret):
        people = staff(url, secret)
        ferry, harbour = people["ferry"], people["harbour"]
        today = date.fromisoformat(ferry.get("/api/sessions")["from"])
        child, goal = child_and_goal(people, today)
        session = planned(ferry, child, today)
        code = ferry.make("/api/pairing-codes")["code"]
        token = Caller(url).make("/api/pair", status=200, code=code)["token"]
        trees = drawn_and_marked(Caller(url, token))
        ids = [tree["trial_id"] for tree in trees]
        corrected(ferry, goal, ids)
        observed(ferry, session, ids[0])
        note = written_and_signed(people, session, ids)
        assert_numbers(ferry, note["numbers"], ids)
        # What is amended after signing changes nothing that was signed, and is told.
        patch = {"patch": {"hand_used": "left"}, "reason": "Seen again on the list."}
        ferry.make(f"/api/trials/{ids[1]}/amendments", id=str(uuid4()), **patch)
    assert done("rescore", "--all", "--database", path).startswith("8 trials scored.")
    with served(path) as (url, _):
        for caller in people.values():
            caller.url = url
        later = ferry.get(f"{session}/note")
        assert later["numbers"] == note["numbers"]
        assert {one["trial_id"] for one in later["changed_since_signing"]} == {ids[1]}
        reports = [f"/api/trials/{one}/report" for one in ids]
        trend = f"{child}/trend?measure=in_corridor_share"
        assert_unseen(people, [child, f"{session}/note", trend, f"/api/goals/{goal}", *reports])
        bridges = [one for one in ferry.get(trend)["series"] if one["task_name"] == "High Bridge"]
        # [C] Two with the left hand, both inside; one with the right hand, outside.
        found = {one["hand"]: [(p["n"], p["value"]) for p in one["points"]] for one in bridges}
        assert found["right"] == [(1, 0.0)]
        assert [(n, value > 0.99) for n, value in found["left"]] == [(2, True)]
        lines = harbour.get(f"/api/audit?child_id={child.rpartition('/')[2]}&limit=200")["lines"]
        verbs = {(one["name"], one["verb"], one["kind"]) for one in lines}
        assert {("ferry", "signed", "note"), ("harbour", "cosigned", "note")} <= verbs
        rows = exported(people, ids)
        assert len(rows) == 7
        assert (
            sorted(row["hand_used"] or row["hand"] for row in rows) == ["left"] * 2 + ["right"] * 5
        )
        done("backup", away, "--database", path)
    needles = [CODE.encode(), NICKNAME.encode(), ARM.encode()]
    needles += packed_of(path, child.rpartition("/")[2])
    done("erase", CODE, "--yes", "--database", path)
    assert_gone(path.parent, needles)
    said = done("restore", away, "--database", path)
    assert "Erased from it again, as asked for since it was made: 1." in said
    with served(path) as (url, _):
        again = Caller(url).sign_in("lantern")
        assert again.get("/api/children") == {"children": []}
        assert again.ask("GET", child)[0] == 404
        assert Caller(url, token).ask("PUT", f"/api/trials/{ids[0]}", trees[0])[0] == 410
        people["beacon"].url = url
        assert exported({"beacon": people["beacon"].sign_in("beacon")}, ids) == []
        assert_gone(path.parent, needles)
