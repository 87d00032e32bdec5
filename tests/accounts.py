"""What the tests of accounts share: looking into the database, links, threads at once."""

import json
import sqlite3
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from threading import Barrier
from typing import Any

from fastapi.testclient import TestClient

from tests.practice import PASSPHRASE, Practice

NEW_PASSPHRASE = "rope kite gravel seven"


def rows(practice: Practice, query: str, *values: Any) -> list[Any]:
    with closing(sqlite3.connect(practice.path)) as connection, connection:
        return connection.execute(query, values).fetchall()


def audited(practice: Practice, kind: str) -> list[tuple[str, str, str | None]]:
    """Who did what to which thing of a kind, by the short names of the accounts."""
    names = {one: name for name, one in practice.ids.items()}
    query = "SELECT account_id, verb, object_id FROM audit WHERE kind = ? ORDER BY number"
    return [
        (names.get(who, who), verb, names.get(thing, thing))
        for who, verb, thing in rows(practice, query, kind)
    ]


def browser(practice: Practice) -> TestClient:
    """A browser in which nobody is signed in."""
    return practice.browser(follow_redirects=False)


def sign_in(practice: Practice, name: str, passphrase: str = PASSPHRASE, **more: Any) -> Any:
    body = {"name": name, "passphrase": passphrase} | more
    return browser(practice).post("/api/sign-in", json=body)


def is_in(client: TestClient) -> bool:
    """Whether somebody is signed in there."""
    status: int = client.get("/api/account").status_code
    assert status in (200, 401)
    return status == 200


def secret_of(answer: Any) -> str:
    """The secret in the link of an invitation."""
    assert answer.status_code == 201, answer.text
    path, _, secret = answer.json()["link"].partition("#")
    assert path == "/join"
    return str(secret)


def invitation(practice: Practice, *roles: str, **more: Any) -> str:
    body = {"roles": list(roles) or ["assistant"]} | more
    return secret_of(practice.desk("purser").post("/api/invitations", json=body))


def use(practice: Practice, secret: str, name: str | None = "skiff", **more: Any) -> Any:
    body = {"secret": secret, "passphrase": NEW_PASSPHRASE} | more
    return browser(practice).post("/api/join", json=body if name is None else body | {"name": name})


def wide(text: str) -> str:
    """The same letters as some keyboards write them, twice as wide."""
    return "".join(chr(ord(letter) + 0xFEE0) for letter in text)


def sent(client: TestClient, method: str, path: str, body: Any) -> Any:
    """Send JSON as it may come from anywhere: also with letters that are none."""
    headers = {"Content-Type": "application/json"}
    return client.request(method, path, content=json.dumps(body), headers=headers)


def at_once(calls: list[Callable[[], Any]]) -> list[Any]:
    """Call all of them in threads that start together."""
    barrier = Barrier(len(calls))

    def call(one: Callable[[], Any]) -> Any:
        barrier.wait()
        return one()

    with ThreadPoolExecutor(len(calls)) as pool:
        return list(pool.map(call, calls))
