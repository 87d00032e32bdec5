"""axe-core finds nothing wrong on any page of the desk, in any of the three engines."""

from pathlib import Path

import pytest
from engine import Engine, readable
from engines import BY_NAME
from harbour import Harbour, copy_of

from server.demo_files import read_scenario

pytestmark = [pytest.mark.browser, pytest.mark.parametrize("engine", BY_NAME, indirect=True)]

ACCOUNTS = {one["roles"][0]: one for one in read_scenario()["accounts"]}
SIGN_IN = "() => location.pathname !== '/' && document.querySelector('.who') !== null"
FIRST = "css => document.querySelector(css)?.getAttribute('href') ?? null"
PAGES = {
    "supervisor": (
        "/caseload",
        "/run-sheet",
        "/tablets",
        "/queue",
        "/account",
        "/children/{child}",
        "/children/{child}/goals/new",
        "/children/{child}/then-and-now",
        "/sessions/{session}",
        "/sessions/{session}/note",
        "/sessions/{session}/family",
        "/trials/{trial}",
    ),
    "researcher": ("/export",),
    "owner": ("/owner", "/owner/tablets", "/owner/settings", "/owner/backup", "/owner/changes"),
}


def signed_in(engine: Engine, harbour: Harbour, role: str) -> None:
    engine.go(f"{harbour.url}/")
    engine.fill("#name", ACCOUNTS[role]["name"])
    engine.fill("#passphrase", ACCOUNTS[role]["passphrase"])
    engine.click("main button[type=submit]")
    engine.wait(SIGN_IN)


def id_behind(engine: Engine, page: str, kind: str) -> str:
    """The id in the first link of a kind on a page."""
    engine.go(page)
    href = engine.js(FIRST, f"main a[href^='/{kind}/']")
    assert href, f"no link to one of {kind}"
    return str(href).split("/")[2]


def ids_of(engine: Engine, harbour: Harbour) -> dict[str, str]:
    """A child, a session with trials and one of these, as links lead there."""
    child = id_behind(engine, f"{harbour.url}/caseload", "children")
    trial = id_behind(engine, f"{harbour.url}/children/{child}", "trials")
    session = id_behind(engine, f"{harbour.url}/trials/{trial}", "sessions")
    return {"child": child, "trial": trial, "session": session}


def test_axe_finds_nothing_on_any_page(engine: Engine, demo_file: Path, tmp_path: Path) -> None:
    harbour = copy_of(demo_file, tmp_path)
    harbour.start()
    found = {}
    try:
        for role, pages in PAGES.items():
            engine.go(f"{harbour.url}/")
            found[f"signing in, {role}"] = readable(engine.axe())
            signed_in(engine, harbour, role)
            ids = ids_of(engine, harbour) if role == "supervisor" else {}
            for page in pages:
                engine.go(harbour.url + page.format(**ids))
                assert engine.shown("h1"), page
                found[page] = readable(engine.axe())
            engine.click(".who button")
            engine.wait("() => location.pathname === '/'")
    finally:
        harbour.kill()
    wrong = {page: said for page, said in found.items() if said}
    assert not wrong, "\n".join(f"== {page}\n{said}" for page, said in wrong.items())
    assert len(found) == sum(map(len, PAGES.values())) + len(PAGES)
