"""The one form that every error answer has."""

from typing import Any


def assert_problem(response: Any, status: int, path: str | None = None) -> dict[str, Any]:
    """Check form and status of an error answer; return its members."""
    assert response.status_code == status, response.text
    assert response.headers["content-type"] == "application/problem+json"
    assert response.headers["cache-control"] == "no-store"
    body: dict[str, Any] = response.json()
    assert set(body) == {"type", "title", "status", "detail", "errors"}
    assert body["type"] == "about:blank"
    assert body["status"] == status
    assert body["title"]
    assert body["detail"].endswith(".")
    for error in body["errors"]:
        assert set(error) == {"path", "detail"}
        assert error["detail"].endswith(".")
    if path is not None:
        assert body["errors"][0]["path"] == path
    return body
