"""Whether the server is alive, and the schemas of the documents it takes and gives."""

from threading import Lock
from time import monotonic

from fastapi import APIRouter, Request, Response
from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.orm import Session

from server.database import Sessions
from server.documents import schemas
from server.openapi import gives_media
from server.problems import Problem
from server.routes_trials import json_answer

router = APIRouter()

CACHED_S = 5.0
SCHEMA_JSON = "application/schema+json"


class Health:
    """Tells whether the database can be written to; asks it at most every five seconds."""

    def __init__(self, sessions: Sessions) -> None:
        self._sessions = sessions
        self._lock = Lock()
        self._asked_s = float("-inf")
        self._writable = False

    def is_writable(self) -> bool:
        """Return whether a write reached the disk a moment ago."""
        with self._lock:
            if monotonic() - self._asked_s > CACHED_S:
                self._writable = self._try_to_write()
                self._asked_s = monotonic()
            return self._writable

    def _try_to_write(self) -> bool:
        try:
            with self._sessions() as db:
                _write_nothing(db)
        except SQLAlchemyError:
            return False
        return True


def _write_nothing(db: Session) -> None:
    # Sets a number in the header of the file, which Linnet does not use, to what it is:
    # a whole transaction down to the disk that leaves no trace.
    connection = db.connection()
    connection.exec_driver_sql("BEGIN IMMEDIATE")
    connection.exec_driver_sql("PRAGMA user_version = 0")
    db.commit()


@router.get("/healthz")
def read_health(request: Request) -> dict[str, str]:
    """Return that all is well, or 503."""
    health: Health = request.app.state.health
    if not health.is_writable():
        raise Problem(503)
    return {"status": "ok"}


@router.get("/api/schemas/")
def list_schemas() -> dict[str, list[str]]:
    """Return the names of the schemas."""
    return {"schemas": sorted(schemas())}


@router.get("/api/schemas/{name}", response_class=Response, responses=gives_media(SCHEMA_JSON))
def read_schema(name: str) -> Response:
    """Return the JSON schema of one kind of document."""
    found = schemas().get(name)
    if found is None:
        raise Problem(404)
    answer = json_answer(found)
    answer.headers["Content-Type"] = SCHEMA_JSON
    return answer
