"""The application as a whole: settings, files, health, and the one form of answers."""

import sqlite3
from contextlib import closing
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from server.app import create_app
from server.database import DatabaseInUse, WrongSchema
from server.routes_health import Health
from server.settings import SETTINGS, BadSetting, Settings, read_settings
from tests.practice import PASSPHRASE, Clock, Practice, settings_for
from tests.problem_form import assert_problem

TYPES = {
    "tablet/tablet.css": "text/css; charset=utf-8",
    "tablet/tablet.mjs": "text/javascript; charset=utf-8",
    "desk/desk.css": "text/css; charset=utf-8",
    "shared/api.mjs": "text/javascript; charset=utf-8",
    "shared/signs.svg": "image/svg+xml",
}


# Settings


def test_settings_come_from_the_environment_and_arguments_go_first(tmp_path: Path) -> None:
    environment = {
        "LINNET_DATABASE": str(tmp_path / "a.sqlite3"),
        "LINNET_PORT": "9000",
        "LINNET_SECURE_COOKIES": "yes",
        "LINNET_TIME_ZONE": "Etc/GMT-1",
    }
    read = read_settings(environment)
    assert read.database_path == tmp_path / "a.sqlite3"
    assert (read.host, read.port, read.secure_cookies) == ("127.0.0.1", 9000, True)
    assert read_settings(environment, port=0).port == 0
    assert read_settings(environment, database="sqlite:////b.sqlite3").database_path == Path(
        "/b.sqlite3"
    )
    assert read_settings({}).database_path.name == "linnet.sqlite3"


@pytest.mark.parametrize(
    ("variable", "value"),
    [
        ("LINNET_DATABASE", "mysql://somewhere/linnet"),
        ("LINNET_DATABASE", ":memory:"),
        ("LINNET_DATABASE", "sqlite:///"),
        ("LINNET_PORT", "70000"),
        ("LINNET_PORT", "eighty"),
        ("LINNET_SECURE_COOKIES", "perhaps"),
        ("LINNET_TIME_ZONE", "Brackwater/Quay"),
        ("LINNET_TIME_ZONE", "../etc/passwd"),
    ],
)
def test_a_setting_that_cannot_be_used_is_named(variable: str, value: str) -> None:
    with pytest.raises(BadSetting, match=f"^{variable} must "):
        read_settings({variable: value})
    assert variable in {row.variable for row in SETTINGS}


def test_the_day_is_the_practice_s() -> None:
    late = datetime(2026, 3, 3, 23, 30, tzinfo=UTC)
    assert Settings("sqlite:////a", time_zone="UTC").day_of(late) == date(2026, 3, 3)
    # [P] Tokyo is nine hours ahead of UTC all year
    assert Settings("sqlite:////a", time_zone="Asia/Tokyo").day_of(late) == date(2026, 3, 4)


def test_over_https_the_cookie_never_travels_without_it(practice: Practice) -> None:
    settings = Settings(f"sqlite:///{practice.path}", secure_cookies=True, time_zone="UTC")
    # Not started: the practice itself holds the database.
    client = TestClient(create_app(settings, Clock()), base_url="https://testserver")
    answer = client.post("/api/sign-in", json={"name": "ferry", "passphrase": PASSPHRASE})
    cookie = answer.headers["set-cookie"]
    assert cookie.startswith("__Host-linnet=")
    for part in ("Secure", "HttpOnly", "SameSite=strict", "Path=/"):
        assert part in cookie
    assert client.get("/api/children").status_code == 200


# Starting and stopping


def test_nothing_is_opened_before_the_start(tmp_path: Path) -> None:
    create_app(settings_for(tmp_path / "none.sqlite3"), Clock())
    assert list(tmp_path.iterdir()) == []


def test_a_second_server_on_the_same_database_does_not_start(practice: Practice) -> None:
    second = create_app(settings_for(practice.path), Clock())
    with pytest.raises(DatabaseInUse), TestClient(second):
        pass
    assert practice.client.get("/healthz").status_code == 200


def test_a_database_without_tables_is_not_served(tmp_path: Path) -> None:
    app = create_app(settings_for(tmp_path / "empty.sqlite3"), Clock())
    for _ in range(2):
        # The second time shows that the first left no lock behind.
        with pytest.raises(WrongSchema, match="linnet upgrade"), TestClient(app):
            pass


# Files


@pytest.mark.parametrize("name", sorted(TYPES))
def test_files_of_pages_have_their_media_type_and_are_asked_for_again(
    practice: Practice, name: str
) -> None:
    answer = practice.client.get(f"/static/{name}")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == TYPES[name]
    assert answer.headers["cache-control"] == "no-cache"
    again = practice.client.get(
        f"/static/{name}", headers={"If-None-Match": answer.headers["etag"]}
    )
    assert (again.status_code, again.headers["cache-control"]) == (304, "no-cache")


@pytest.mark.parametrize(
    "path",
    [
        "desk/base.html",
        "tablet/tablet.html",
        "tablet/..%2f..%2fpyproject.toml",
        "tablet/%2e%2e/desk/desk.css/../../../server/app.py",
        "tablet/none.css",
        "tablet/",
        "tablet",
    ],
)
def test_other_files_are_not_served(practice: Practice, path: str) -> None:
    assert practice.client.get(f"/static/{path}").status_code == 404


def test_the_child_s_page_is_served(practice: Practice) -> None:
    answer = practice.client.get("/tablet")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "text/html; charset=utf-8"
    assert b"/static/tablet/tablet.css" in answer.content


# Health and schemas


def test_health_is_503_when_nothing_can_be_written(practice: Practice) -> None:
    assert practice.client.get("/healthz").json() == {"status": "ok"}
    with closing(sqlite3.connect(practice.path)) as other:
        other.execute("BEGIN EXCLUSIVE")
        # The answer of a moment ago still stands.
        assert practice.client.get("/healthz").status_code == 200
        with practice.app.state.engine.connect() as connection:
            connection.exec_driver_sql("PRAGMA busy_timeout = 1")
        practice.app.state.health = Health(practice.app.state.sessions)
        assert_problem(practice.client.get("/healthz"), 503)
        other.rollback()
    practice.app.state.health = Health(practice.app.state.sessions)
    assert practice.client.get("/healthz").status_code == 200


def test_every_schema_that_is_listed_can_be_read(practice: Practice) -> None:
    names = practice.client.get("/api/schemas/").json()["schemas"]
    assert "linnet-trial-1" in names
    for name in names:
        answer = practice.client.get(f"/api/schemas/{name}")
        assert answer.headers["content-type"] == "application/schema+json"
        assert answer.json()["$id"] == f"/api/schemas/{name}"
    assert_problem(practice.client.get("/api/schemas/linnet-none-1"), 404)


def test_pages_that_would_load_from_other_hosts_are_off(practice: Practice) -> None:
    for path in ("/docs", "/redoc"):
        assert_problem(practice.client.get(path), 404)
    assert practice.client.get("/api/openapi.json").json()["info"]["title"] == "Linnet"


def test_the_day_pack_follows_its_schema(practice: Practice) -> None:
    from jsonschema import Draft202012Validator

    schema = practice.client.get("/api/schemas/linnet-day-1").json()
    Draft202012Validator(schema).validate(practice.tablet().get("/api/tablet/day").json())
