"""A session that is over: its note can be signed only when it is known from when to when it was."""

from fastapi.testclient import TestClient

TIMES = {"started_at": "2026-03-03T09:10:00Z", "ended_at": "2026-03-03T09:38:00Z"}


def end_session(client: TestClient, session_id: str) -> None:
    """Note from when to when a session of the practice's first day was."""
    answer = client.patch(f"/api/sessions/{session_id}", json=TIMES)
    assert answer.status_code == 200, answer.text
