"""One sound request for every route of the table of rights."""

from collections.abc import Callable
from typing import Any

import pyotp
from fastapi.testclient import TestClient
from sqlalchemy import select

from server.tables import Account
from tests.practice import NOON, PASSPHRASE, PLAN_GULL, Practice, drawn, raw_of

Request = dict[str, Any]

TRIAL = "11111111-1111-4111-8111-111111111111"
FRESH = "33333333-3333-4333-8333-333333333333"
SEEN = "44444444-4444-4444-8444-444444444444"
SENT = "22222222-2222-4222-8222-222222222222"
TODAY = NOON.date().isoformat()
OTHER_PASSPHRASE = "nine ropes and a wet sail"
FACTOR = "JBSWY3DPEHPK3PXPJBSWY3DPEHPK3PXP"
GOAL = {
    "measure": "deviation_mean_abs",
    "criterion": {"at_most": 3.0},
    "k": 4,
    "n": 5,
    "purpose": "Following a line at the art table.",
}
OWN_TASK = {
    "name": "Rope to the bollard",
    "mode": "trace",
    "points_mm": [[10.0, 10.0], [120.0, 10.0], [120.0, 60.0]],
    "corridor_mm": 12.0,
}
CALIBRATION = {"id": "card-1", "px_per_mm": 5.2}
SQUARE_MM = [[0, 0], [40, 0], [40, 40], [0, 40]]
CUT = {
    "format": "linnet-cut/1",
    "cut_id": "55555555-5555-4555-8555-555555555555",
    "template": {"points_mm": SQUARE_MM},
    "counts": {"snips": 6},
}
ENTRY = {
    "format": "linnet-entry/1",
    "entry_id": "66666666-6666-4666-8666-666666666666",
    "task": {"mode": "trace"},
    "counts": {"gaps": 2},
}
GOAL_FORM = {
    "purpose": "drawing the harbour at the art table",
    "measure": "in_corridor_share",
    "at_least": "80",
    "half_mm": "4",
    "setup": "on",
    "k": "4",
    "n": "5",
    "days": "2",
}
ITEM_FORM = {
    "based_on": "1",
    "task_id": "quay-edge",
    "step": "corridor_mm:12.0",
    "hands": ["left", "right"],
    "directions": "left_to_right",
    "repetitions": "2",
    "seed": "4711",
}
SURE = {"sure": "yes"}
CREDENTIALS = {"name": "ferry", "passphrase": PASSPHRASE}


def _made(answer: Any) -> Any:
    assert answer.status_code in (200, 201), answer.text
    return answer.json()


def _note(client: TestClient, session_id: str) -> int:
    words = {"subjective": "", "objective": "", "assessment": "Steady.", "plan": ""}
    path = f"/api/sessions/{session_id}/note"
    revision: int = _made(client.put(path, json={"based_on": 0, **words}))["revision"]
    return revision


def fill(practice: Practice) -> None:
    """Put one of everything into a practice; its ids become `practice.ids`."""
    ids = practice.ids
    tablet, ferry, harbour, purser = (
        practice.tablet(),
        practice.desk("ferry"),
        practice.desk("harbour"),
        practice.desk("purser"),
    )
    report = _made(practice.send(tablet, drawn(trial_id=TRIAL)))["report"]
    ids |= {"trial": TRIAL, "path": report["path_id"]}
    _made(tablet.post("/api/tablet/calibrations", json=CALIBRATION | {"id": "card-0"}))
    held = next(one for one in _made(ferry.get("/api/tablets"))["tablets"] if one["calibration"])
    ids["tablet"] = held["tablet_id"]
    child = f"/api/children/{ids['Gull']}"
    ids["goal"] = _made(harbour.post(f"{child}/goals", json=GOAL))["goal_id"]
    consent = {"purpose": "research", "given_on": TODAY, "given_by": "parent"}
    ids["consent"] = _made(ferry.post(f"{child}/consents", json=consent))["consent_id"]
    # A second carer, so that the first one's link may end.
    _made(harbour.post(f"{child}/links", json={"account_id": ids["harbour"]}))
    ids["task"] = _made(ferry.post("/api/tasks", json=OWN_TASK))["task"]["task_id"]
    made = _made(purser.post("/api/invitations", json={"roles": ["assistant"]}))
    ids["invitation"] = made["invitation_id"]
    session = f"/api/sessions/{ids['Gull session']}"
    seen = {"id": SEEN, "kind": "thumb_up"}
    _made(ferry.post(f"{session}/observations", json=seen))
    ids["revision"] = str(_note(ferry, ids["Gull session"]))
    signed = _made(ferry.post(f"{child}/sessions", json={"day": TODAY}))["session_id"]
    revision = _note(ferry, signed)
    _made(ferry.post(f"/api/sessions/{signed}/note/sign", json={"based_on": revision}))
    ids["signed session"] = signed
    # Nothing was done in it, so that its note needs no times to be signed.
    ids["drafted session"] = _made(ferry.post(f"{child}/sessions", json={"day": TODAY}))[
        "session_id"
    ]
    _note(ferry, ids["drafted session"])
    for nouns, document in (("cuts", CUT), ("entries", ENTRY)):
        key = "cut_id" if nouns == "cuts" else "entry_id"
        address = f"/api/{nouns}/{document[key]}?session={ids['Gull session']}"
        _made(ferry.put(address, content=raw_of(document)))
    empty = _made(ferry.post(f"{child}/sessions", json={"day": TODAY}))["session_id"]
    ids["empty session"] = empty


def _at(practice: Practice, **more: str) -> dict[str, str]:
    ids = practice.ids
    return {
        "child_id": ids["Gull"],
        "session_id": ids["Gull session"],
        "trial_id": TRIAL,
        "goal_id": ids["goal"],
        "consent_id": ids["consent"],
        "task_id": ids["task"],
        "tablet_id": ids["tablet"],
        "observation_id": SEEN,
        "invitation_id": ids["invitation"],
        "account_id": ids["lantern"],
        "version": "1",
        "cut_id": CUT["cut_id"],
        "entry_id": ENTRY["entry_id"],
        "kind": "svg",
    } | more


def _with_factor(practice: Practice, *, on: bool) -> None:
    with practice.app.state.sessions() as db:
        for account in db.scalars(select(Account)):
            account.second_factor = FACTOR
            account.second_factor_since = NOON if on else None
        db.commit()


def _factor_on(practice: Practice) -> Request:
    _with_factor(practice, on=False)
    return {"json": {"code": pyotp.TOTP(FACTOR).at(NOON)}}


def _as_form(request: Request) -> Request:
    return {"data": request["json"]}


def _factor_off(practice: Practice) -> Request:
    _with_factor(practice, on=True)
    return {"json": {"passphrase": PASSPHRASE, "code": pyotp.TOTP(FACTOR).at(NOON)}}


def _joining(practice: Practice) -> dict[str, str]:
    made = practice.desk("purser").post("/api/invitations", json={"roles": ["assistant"]})
    secret = _made(made)["link"].partition("#")[2]
    return {"secret": secret, "name": "tern", "passphrase": OTHER_PASSPHRASE}


def _code(practice: Practice) -> str:
    code: str = practice.desk("ferry").post("/api/pairing-codes").json()["code"]
    return code


def _same_plan(practice: Practice) -> dict[str, Any]:
    plan = practice.desk("ferry").get(f"/api/sessions/{practice.ids['Gull session']}/plan").json()
    return {"based_on": plan["version"], "items": plan["items"]}


def _with_all_closed(practice: Practice) -> Request:
    """Nothing is sent; where no session of today is open, one is begun."""
    ferry = practice.desk("ferry")
    for session in ferry.get("/api/sessions").json()["sessions"]:
        _made(ferry.post(f"/api/sessions/{session['session_id']}/close"))
    return {}


def _begun(practice: Practice) -> Request:
    """Nothing is sent; what ends has begun."""
    address = f"/api/sessions/{practice.ids['Gull session']}"
    _made(practice.desk("ferry").patch(address, json={"started_at": NOON.isoformat()}))
    return {}


def _of(session: str, body: dict[str, Any]) -> Callable[[Practice], Request]:
    def build(practice: Practice) -> Request:
        return {"at": _at(practice, session_id=practice.ids[session]), "json": body}

    return build


def _sent(practice: Practice, key: str, document: dict[str, Any]) -> Request:
    fresh = document | {key: FRESH}
    return {
        "at": _at(practice, **{key: FRESH}),
        "content": raw_of(fresh),
        "params": {"session": practice.ids["Gull session"]},
    }


def _body(body: dict[str, Any]) -> Callable[[Practice], Request]:
    return lambda _: {"json": body}


REQUESTS: dict[str, Callable[[Practice], Request]] = {
    "GET /api/schemas/{name}": lambda p: {"at": _at(p, name="linnet-trial-1")},
    "POST /api/sign-in": _body(CREDENTIALS),
    "POST /sign-in": lambda _: {"data": CREDENTIALS},
    "POST /api/pair": lambda p: {"json": {"code": _code(p)}},
    "POST /api/join": lambda p: {"json": _joining(p)},
    "POST /join": lambda p: {"data": _joining(p)},
    "PUT /api/account/passphrase": _body({"old": PASSPHRASE, "new": OTHER_PASSPHRASE}),
    "POST /api/account/sign-out-everywhere": _body({"tablets": True}),
    "POST /api/account/second-factor": _body({"passphrase": PASSPHRASE}),
    "PUT /api/account/second-factor": _factor_on,
    "POST /api/account/second-factor/off": _factor_off,
    "POST /account/passphrase": lambda _: {"data": {"old": PASSPHRASE, "new": OTHER_PASSPHRASE}},
    "POST /account/second-factor": lambda _: {"data": {"passphrase": PASSPHRASE}},
    "POST /account/second-factor/on": lambda p: _as_form(_factor_on(p)),
    "POST /account/second-factor/off": lambda p: _as_form(_factor_off(p)),
    "POST /account/sign-out-everywhere": lambda _: {"data": {"tablets": "yes"}},
    "POST /owner/invitations": lambda p: {
        "data": {"roles": ["assistant"], "supervisor_id": p.ids["harbour"]}
    },
    "POST /owner/invitations/{invitation_id}/withdraw": lambda _: {"data": SURE},
    "POST /owner/accounts/{account_id}/change": lambda p: {
        "data": SURE | {"roles": ["assistant", "researcher"], "supervisor_id": p.ids["harbour"]}
    },
    "POST /owner/accounts/{account_id}/reset": lambda _: {"data": SURE},
    "POST /owner/accounts/{account_id}/sign-out": lambda _: {"data": SURE},
    "POST /owner/accounts/{account_id}/ending": lambda p: {
        "at": _at(p, account_id=p.ids["anchor"]),
        "data": SURE | {"closed": "yes"},
    },
    "POST /owner/tablets/{tablet_id}/revoke": lambda _: {"data": SURE},
    "POST /owner/settings/{name}": lambda p: {
        "at": _at(p, name="idle_minutes"),
        "data": {"value": "30"},
    },
    "PATCH /api/accounts/{account_id}": _body({"roles": ["assistant", "researcher"]}),
    "POST /api/invitations": _body({"roles": ["supervisor"]}),
    "PUT /api/settings/{name}": lambda p: {
        "at": _at(p, name="idle_minutes"),
        "json": {"value": 30},
    },
    "POST /api/tablet/calibrations": _body(CALIBRATION),
    "POST /api/tablet/observations": _body(
        {"id": FRESH, "plan_id": PLAN_GULL, "kind": "trunk_still", "trial_id": TRIAL}
    ),
    "PATCH /api/tablets/{tablet_id}": _body({"label": "Blue case"}),
    "POST /tablets/{tablet_id}/name": lambda _: {"data": {"label": "Blue case"}},
    "POST /children/{child_id}/sessions": _with_all_closed,
    "POST /api/tasks": _body(OWN_TASK),
    "POST /api/tasks/{task_id}/revisions": _body(OWN_TASK | {"based_on": 1}),
    "POST /api/tasks/{task_id}/retire": _body({"based_on": 1}),
    "POST /api/children": _body({"code": "BW-97", "sign": ["shell", "rope"]}),
    "PATCH /api/children/{child_id}": _body({"preferred_hand": "left"}),
    "POST /api/children/{child_id}/links": lambda p: {"json": {"account_id": p.ids["lantern"]}},
    "POST /api/children/{child_id}/links/{account_id}/end": lambda p: {
        "at": _at(p, account_id=p.ids["ferry"]),
        "json": {},
    },
    "POST /api/children/{child_id}/consents": _body(
        {"purpose": "photographs", "given_on": TODAY, "given_by": "guardian"}
    ),
    "POST /api/children/{child_id}/consents/{consent_id}/withdraw": _body({"on": TODAY}),
    "POST /api/children/{child_id}/goals": _body(GOAL | {"id": FRESH}),
    "POST /api/goals/{goal_id}/versions": _body(GOAL | {"based_on": 1, "k": 3}),
    "GET /api/audit": lambda p: {"params": {"child_id": p.ids["Gull"]}},
    "POST /api/children/{child_id}/sessions": _body({"day": TODAY}),
    "PATCH /api/sessions/{session_id}": _body({"attendance": "attended"}),
    "PUT /api/sessions/{session_id}/plan": lambda p: {"json": _same_plan(p)},
    "POST /api/sessions/{session_id}/plan/items": _body(
        {"based_on": 1, "task_id": "quay-edge", "hand": "right", "repetitions": 2}
    ),
    "POST /api/sessions/{session_id}/plan/same-as-last": _of("empty session", {"based_on": 0}),
    "POST /api/sessions/{session_id}/observations": _body({"id": FRESH, "kind": "trunk_still"}),
    "PUT /api/observations/{observation_id}": _body({"kind": "elbow_off_table"}),
    "GET /api/notes": lambda _: {"params": {"state": "signed"}},
    "PUT /api/sessions/{session_id}/note": lambda p: {
        "json": {
            "based_on": int(p.ids["revision"]),
            "subjective": "",
            "objective": "",
            "assessment": "Even.",
            "plan": "",
        }
    },
    "POST /api/sessions/{session_id}/note/sign": _of("drafted session", {"based_on": 1}),
    "POST /api/sessions/{session_id}/note/return": _of(
        "signed session", {"reason": "The plan is missing."}
    ),
    "POST /api/sessions/{session_id}/note/cosign": _of("signed session", {}),
    "POST /api/sessions/{session_id}/note/addenda": _of(
        "signed session", {"id": FRESH, "text": "The window was open."}
    ),
    "POST /sessions/{session_id}/note": lambda p: {
        "data": {"based_on": p.ids["revision"], "assessment": "Even.", "do": "save"}
    },
    "POST /sessions/{session_id}/note/return": lambda p: {
        "at": _at(p, session_id=p.ids["signed session"]),
        "data": {"reason": "The plan is missing."},
    },
    "POST /sessions/{session_id}/note/cosign": lambda p: {
        "at": _at(p, session_id=p.ids["signed session"]),
        "data": {"read": "yes"},
    },
    "POST /sessions/{session_id}/note/addenda": lambda p: {
        "at": _at(p, session_id=p.ids["signed session"]),
        "data": {"id": FRESH, "text": "The window was open."},
    },
    "PUT /api/trials/{trial_id}": lambda p: {
        "at": _at(p, trial_id=FRESH),
        "content": raw_of(drawn(trial_id=FRESH)),
        "params": {"session": p.ids["Gull session"]},
    },
    "POST /api/trials/{trial_id}/marks": _body({"id": SENT, "outcome": "spoilt"}),
    "POST /api/trials/{trial_id}/amendments": _body(
        {"id": SENT, "patch": {"hand_used": "left"}, "reason": "Written down wrongly."}
    ),
    "POST /api/trials/{trial_id}/voids": _body(
        {"id": SENT, "voided": True, "reason": "The tablet was being tried out."}
    ),
    "PUT /api/cuts/{cut_id}": lambda p: _sent(p, "cut_id", CUT),
    "PUT /api/entries/{entry_id}": lambda p: _sent(p, "entry_id", ENTRY),
    "GET /api/children/{child_id}/trend": lambda _: {"params": {"measure": "deviation_mean_abs"}},
    "POST /children/{child_id}/goals/new": lambda _: {"data": GOAL_FORM},
    "POST /children/{child_id}/goals/{goal_id}": lambda _: {"data": GOAL_FORM | {"based_on": "1"}},
    "POST /children/{child_id}/goals/{goal_id}/status": lambda _: {
        "data": {"based_on": "1", "status": "met"}
    },
    "POST /sessions/{session_id}/end": _begun,
    "POST /sessions/{session_id}/facts": lambda _: {"data": {"place": "Ropewalk Clinic"}},
    "POST /sessions/{session_id}/plan/same-as-last": lambda p: {
        "at": _at(p, session_id=p.ids["empty session"]),
        "data": {"based_on": "0"},
    },
    "POST /sessions/{session_id}/plan/items": lambda _: {"data": ITEM_FORM},
    "POST /sessions/{session_id}/plan/items/{item_id}/close": lambda p: {
        "at": _at(p, item_id="a1")
    },
    "POST /sessions/{session_id}/trials/{trial_id}/mark": lambda _: {
        "data": {"mark_id": SENT, "tap": "spoilt"}
    },
    "POST /sessions/{session_id}/observations": lambda _: {
        "data": {"id": FRESH, "what": "activity", "activity": "Threading", "minutes": "5"}
    },
    "GET /children/{child_id}/trend.svg": lambda p: {"params": {"task": p.ids["path"]}},
    "POST /sessions/{session_id}/family": lambda _: {
        "data": {"did": "A long bridge.", "picture": "true", "line": TRIAL, "do": "page"}
    },
    "GET /trials/{trial_id}/beside/{other_id}": lambda p: _beside(p),
    "GET /trials/{trial_id}/beside/{other_id}/{size}.svg": lambda p: _beside(p),
    "POST /trials/{trial_id}/marks": lambda _: {"data": {"id": SENT, "kind": "spoilt"}},
    "POST /trials/{trial_id}/amendments": lambda _: {
        "data": {"id": SENT, "hand_used": "left", "reason": "Written down wrongly."}
    },
    "POST /trials/{trial_id}/voids": lambda _: {
        "data": {"id": SENT, "voided": "yes", "reason": "The tablet was being tried out."}
    },
    "GET /api/export/{table}.csv": lambda p: {"at": _at(p, table="trials")},
}


def _beside(practice: Practice) -> Request:
    """A second trial of the same path, to lay beside the first."""
    _made(practice.send(practice.tablet(), drawn(trial_id=FRESH, beside_mm=2.0)))
    return {"at": _at(practice, other_id=FRESH, size="wide")}


def request_for(route: str, practice: Practice) -> Request:
    """Return a request that is right in all but, perhaps, who sends it."""
    build = REQUESTS.get(route, lambda _: {})
    return {"at": _at(practice)} | build(practice)
