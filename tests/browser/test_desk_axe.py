"""axe-core finds nothing wrong on any page of the desk, in any of the three engines.

In Chromium, whose scheme can be set on a page that is open, each page is looked at dark too.
"""

from pathlib import Path

import pytest
from engine import Engine, readable
from engine_chromium import Chromium
from engines import BY_NAME
from harbour import Harbour, copy_of

from server.demo_files import read_scenario

pytestmark = [pytest.mark.browser, pytest.mark.parametrize("engine", BY_NAME, indirect=True)]

ACCOUNTS = {one["roles"][0]: one for one in read_scenario()["accounts"]}
SIGN_IN = "() => location.pathname !== '/' && document.querySelector('.who') !== null"
FIRST = "css => document.querySelector(css)?.getAttribute('href') ?? null"
GROUND = "() => getComputedStyle(document.body).backgroundColor"
GROUNDS = {"light": "rgb(246, 242, 234)", "dark": "rgb(18, 24, 31)"}
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


def look(engine: Engine) -> dict[str, str]:
    """What is wrong with the page that is open, in each scheme that the engine can be set to."""
    if not isinstance(engine, Chromium):
        return {"light": readable(engine.axe())}
    said = {}
    for scheme, ground in GROUNDS.items():
        feature = {"name": "prefers-color-scheme", "value": scheme}
        engine.wire.call("Emulation.setEmulatedMedia", features=[feature])
        assert engine.js(GROUND) == ground
        said[scheme] = readable(engine.axe())
    return said


def test_axe_finds_nothing_on_any_page(engine: Engine, demo_file: Path, tmp_path: Path) -> None:
    harbour = copy_of(demo_file, tmp_path)
    harbour.start()
    found = {}
    try:
        for role, pages in PAGES.items():
            engine.go(f"{harbour.url}/")
            found[f"signing in, {role}"] = look(engine)
            signed_in(engine, harbour, role)
            ids = ids_of(engine, harbour) if role == "supervisor" else {}
            for page in pages:
                engine.go(harbour.url + page.format(**ids))
                assert engine.shown("h1"), page
                found[page] = look(engine)
            engine.click(".who button")
            engine.wait("() => location.pathname === '/'")
    finally:
        harbour.kill()
    wrong = [
        f"== {page}, {scheme}\n{said}"
        for page, schemes in found.items()
        for scheme, said in schemes.items()
        if said
    ]
    assert not wrong, "\n".join(wrong)
    assert len(found) == sum(map(len, PAGES.values())) + len(PAGES)
