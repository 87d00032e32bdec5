"""axe-core finds nothing wrong in any state of the tablet page, in any of the three engines."""

from collections.abc import Callable
from pathlib import Path

import pytest
from engine import Engine, readable
from engines import BY_NAME
from harbour import Harbour, item
from tablet_face import ONWARD, TabletFace

pytestmark = [pytest.mark.browser, pytest.mark.parametrize("engine", BY_NAME, indirect=True)]

LINE = item("quay-edge", item_id="line", repetitions=3)
HALF_MM = [(13.5 + 0.45 * i, 68.0) for i in range(201)]
REFUSE = """() => {
    const send = globalThis.fetch;
    const said = JSON.stringify({ title: "Conflict", status: 409 });
    const headers = { "Content-Type": "application/problem+json" };
    globalThis.fetch = (path, options) => (options?.method === "PUT"
        ? Promise.resolve(new Response(said, { status: 409, headers })) : send(path, options));
}"""
# A newer version and another window are not to be had by every engine's doors: what they
# show is shown by hand.
NEWER = "() => { document.getElementById('update').hidden = false; }"
ELSEWHERE = """() => {
    for (const one of document.querySelectorAll("section, #draw")) one.hidden = true;
    document.getElementById("adult").hidden = false;
    document.getElementById("elsewhere").hidden = false;
}"""


def opened(tablet: TabletFace) -> None:
    tablet.open()
    tablet.engine.wait("() => !document.getElementById('pair').hidden")


def wrong_code(tablet: TabletFace) -> None:
    tablet.engine.fill("#pair-code", "12")
    tablet.engine.click("#pair-form button")
    tablet.engine.wait("() => document.getElementById('pair-fault').textContent")


def ruler(tablet: TabletFace) -> None:
    tablet.engine.click("#scale-ruler")


def card(tablet: TabletFace) -> None:
    tablet.engine.click("#scale-card")


def chosen(tablet: TabletFace) -> None:
    tablet.engine.click("#children-list button")
    tablet.engine.wait("() => document.querySelector('#setup:not([hidden])') !== null")


def first_then(tablet: TabletFace) -> None:
    for css in ONWARD["setup"]:
        tablet.engine.click(css)
    tablet.engine.wait("() => document.getElementById('draw').dataset.phase === 'first'")


def guide(tablet: TabletFace) -> None:
    tablet.engine.click("#draw")
    tablet.shown()


def line_begun(tablet: TabletFace) -> None:
    tablet.close_strip()
    tablet.shown(2)
    tablet.engine.draw(tablet.px(HALF_MM), tablet.engine.pointers[0])


def help_and_seen(tablet: TabletFace) -> None:
    for css in ("#strip-help", "#strip-why", "#strip-seen"):
        tablet.engine.click(css)


def resting(tablet: TabletFace) -> None:
    tablet.engine.click("#strip-rest")
    tablet.engine.wait("() => document.getElementById('draw').dataset.phase === 'rest'")


def turned(tablet: TabletFace) -> None:
    tablet.engine.click("#strip-resume")
    tablet.engine.set_size(820, 1180)
    tablet.engine.wait("() => document.getElementById('draw').dataset.phase === 'turn'")


def all_drawn(tablet: TabletFace) -> None:
    tablet.engine.set_size(1180, 820)
    tablet.shown(3)
    tablet.open_strip()
    tablet.engine.click("#strip-skip")
    tablet.engine.wait("() => document.getElementById('draw').dataset.phase === 'end'")


def refused(tablet: TabletFace) -> None:
    tablet.open_strip()
    tablet.engine.click("#strip-leave")
    tablet.engine.wait("() => document.querySelector('#refused:not([hidden])') !== null")


def without_server(tablet: TabletFace) -> None:
    tablet.harbour.kill()
    tablet.engine.click("#go-fetch")
    tablet.engine.wait("() => /does not answer/.test(document.body.innerText)")


def newer(tablet: TabletFace) -> None:
    tablet.engine.js(NEWER)


def elsewhere(tablet: TabletFace) -> None:
    tablet.engine.js(ELSEWHERE)


States = dict[str, Callable[[TabletFace], object]]

# Each state is reached from the one before it.
STATES: States = {
    "pair": opened,
    "pair, with a wrong code": wrong_code,
    "calibrate with a card": TabletFace.pair,
    "calibrate with a ruler": ruler,
    "calibrate with a card again": card,
    "children": TabletFace.calibrate,
    "set-up": chosen,
    "first and then": first_then,
    "guide": guide,
    "strip before a line": TabletFace.open_strip,
    "line begun": line_begun,
    "strip over a line": TabletFace.open_strip,
    "strip, help and what was seen": help_and_seen,
    "rest": resting,
    "strip in a rest": TabletFace.open_strip,
    "turn the tablet": turned,
    "all drawn": all_drawn,
    "children, with a line that was refused": refused,
    "children, without a server": without_server,
    "children, with a newer version": newer,
    "open elsewhere": elsewhere,
}


def walk(tablet: TabletFace, states: States, folder: Path) -> None:
    """Reach all states of a page that refuses every trial, and have axe-core look at each."""
    found = {}
    for number, (state, reach) in enumerate(states.items()):
        reach(tablet)
        if state == "pair":
            tablet.engine.js(REFUSE)
        tablet.engine.screenshot(folder / f"{number:02}-{state.replace(' ', '-')}.png")
        found[state] = readable(tablet.engine.axe())
    wrong = {state: said for state, said in found.items() if said}
    assert not wrong, "\n".join(f"== {state}\n{said}" for state, said in wrong.items())
    assert tablet.faults() == []


def test_axe_finds_nothing_in_any_state(engine: Engine, harbour: Harbour, tmp_path: Path) -> None:
    harbour.plan(LINE)
    harbour.start()
    walk(TabletFace(engine, harbour), STATES, tmp_path)


def test_axe_does_find_what_is_wrong(engine: Engine, harbour: Harbour) -> None:
    """The check can fail: a button without a name is found."""
    harbour.start()
    engine.open(f"{harbour.url}/tablet")
    engine.wait("() => !document.getElementById('pair').hidden")
    engine.js("() => { document.querySelector('#pair-form button').textContent = ''; }")
    assert [one["id"] for one in engine.axe()] == ["button-name"]
