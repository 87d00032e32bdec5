"""The suggested step of each task of a child, as scripts read it."""

from fastapi import APIRouter, Response

from server.deps import Config, Db, LinkedChild, Now
from server.routes_trials import json_answer

router = APIRouter(prefix="/api")


@router.get("/children/{child_id}/steps")
def read_steps(child: LinkedChild, db: Db, now: Now, settings: Config) -> Response:
    """Return for each task whether a step up or down may be worth a thought, and the counts.

    Nothing is changed by it. `suggestion` is `up`, `down`, `stay` or `too little to say`.
    """
    # The analysis takes a second to load; nothing else here needs it.
    from server.page_steps import steps_as_dicts

    return json_answer({"steps": steps_as_dicts(db, child.id, settings.day_of(now))})
