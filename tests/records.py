"""A child's record with a row in every table it can reach."""

from datetime import timedelta
from typing import Any
from uuid import uuid4

import numpy as np
from sqlalchemy.orm import Session

from server.tables import (
    AmendmentRow,
    Consent,
    GoalRow,
    NoteEvent,
    NoteRow,
    ObservationRow,
    VoidRow,
)
from tests.practice import NOON, TODAY, Practice, drawn

# Words that stand nowhere else.
STORY = "The mainsail of the Petrel tore on the way around Quillhead, and that was that."


def distinct(number: int, **more: Any) -> dict[str, Any]:
    """A trial whose samples, packed or not, look like those of no other."""
    tree, wander = drawn(**more), np.random.default_rng(number).normal(0.0, 0.05, (3, 481))
    for name, by in zip(("t_ms", "x_mm", "y_mm"), wander, strict=True):
        moved = np.array(tree["samples"][name]) + by
        tree["samples"][name] = moved.round(4).tolist()
    return tree


def fill_record(practice: Practice, name: str = "Gull", carer: str = "ferry") -> list[str]:
    """Add to everything that can be known about a child; returns the ids of its trials."""
    tablet = practice.tablet(carer)
    trees = [distinct(number, seq=number) for number in (1, 2)]
    for tree in trees:
        assert practice.send(tablet, tree).status_code == 201
        mark = {"id": str(uuid4()), "outcome": "finished", "why": None}
        assert tablet.post(f"/api/trials/{tree['trial_id']}/marks", json=mark).status_code == 201
    ids = [str(tree["trial_id"]) for tree in trees]
    with practice.app.state.sessions() as db:
        _add_words(db, practice, name, carer, ids[0])
        db.commit()
    return ids


def _add_words(db: Session, practice: Practice, name: str, carer: str, trial_id: str) -> None:
    account_id, session_id = practice.ids[carer], practice.ids[f"{name} session"]
    by = {"account_id": account_id, "at": NOON}
    db.add_all(
        [
            Consent(
                child_id=practice.ids[name],
                purpose="measuring",
                given_on=TODAY - timedelta(days=9),
                given_by="parent",
                **by,
            ),
            GoalRow(
                version=1,
                child_id=practice.ids[name],
                measure="deviation_mean_abs",
                criterion={"at_most": 2.0},
                k=3,
                n=4,
                days=2,
                conditions={},
                help={},
                purpose=STORY,
                status="open",
                **by,
            ),
            AmendmentRow(
                id=str(uuid4()),
                trial_id=trial_id,
                amendment_no=1,
                patch={"condition": {"hand": "left"}},
                reason=STORY,
                **by,
            ),
            VoidRow(id=str(uuid4()), trial_id=trial_id, voided=True, reason=STORY, **by),
            ObservationRow(
                id=str(uuid4()),
                session_id=session_id,
                trial_id=trial_id,
                kind="remark",
                text=STORY,
                **by,
            ),
            NoteRow(
                session_id=session_id,
                state="draft",
                revision=1,
                subjective=STORY,
                objective=STORY,
                assessment="",
                plan_text="",
                account_id=account_id,
                changed_at=NOON,
            ),
        ]
    )
    db.flush()
    db.add(NoteEvent(session_id=session_id, kind="drafted", text=STORY, **by))
