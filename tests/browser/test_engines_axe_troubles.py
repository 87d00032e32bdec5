"""axe-core finds nothing wrong where the tablet page tells of trouble, or is quiet."""

from pathlib import Path

import pytest
from engine import Engine
from engines import BY_NAME
from harbour import Harbour, item
from tablet_face import TabletFace
from test_engines_axe import HALF_MM, States, chosen, first_then, guide, opened, walk
from test_tablet_leaving import FULL

pytestmark = [pytest.mark.browser, pytest.mark.parametrize("engine", BY_NAME, indirect=True)]

LINE = item("quay-edge", item_id="line", repetitions=6)
WHOLE_MM = [(13.5 + 0.45 * i, 68.0) for i in range(401)]

# No engine's doors enlarge a page as fingers or a menu do: what the browser then says is said.
PINCH = """scale => {
    Object.defineProperty(visualViewport, "scale", { value: scale, configurable: true });
    visualViewport.dispatchEvent(new Event("resize"));
}"""
ZOOM = """() => {
    const ratio = 1.25 * devicePixelRatio;
    Object.defineProperty(globalThis, "devicePixelRatio", { value: ratio, configurable: true });
    dispatchEvent(new Event("resize"));
}"""
# A disk that takes no more records at all.
NO_ROOM = """() => {
    const { put } = IDBObjectStore.prototype;
    IDBTransaction.prototype.commit = () => {};
    IDBObjectStore.prototype.put = function (...row) {
        const request = put.apply(this, row);
        if (this.name === "outbox") {
            request.addEventListener("success", () => this.transaction.abort());
        }
        return request;
    };
}"""
WARNS = """words => {
    const told = document.getElementById("strip-warning");
    return document.getElementById("strip").open && !told.hidden && told.innerText.includes(words);
}"""
REFUSED = """async () => (await new Promise((resolve, reject) => {
    const opening = indexedDB.open("linnet");
    opening.onerror = () => reject(opening.error);
    opening.onsuccess = () => {
        const all = opening.result.transaction("outbox").objectStore("outbox").getAll();
        all.onsuccess = () => { opening.result.close(); resolve(all.result); };
    };
})).some(({ state }) => state === "adult")"""


def warned(tablet: TabletFace, words: str) -> None:
    tablet.engine.wait(WARNS, words)


def pinched(tablet: TabletFace) -> None:
    tablet.pair()
    tablet.engine.js(PINCH, 1.3)
    tablet.engine.wait(
        "() => document.getElementById('card-fault').innerText"
        " && document.getElementById('card-keep').disabled"
    )


def on_a_phone(tablet: TabletFace) -> None:
    tablet.engine.js(PINCH, 1)
    tablet.engine.set_size(390, 844)


def strip_when_quiet(tablet: TabletFace) -> None:
    tablet.engine.set_size(1180, 820)
    tablet.calibrate()
    chosen(tablet)
    first_then(tablet)
    guide(tablet)
    tablet.open_strip()
    tablet.engine.click("#strip-quiet")


def guide_when_quiet(tablet: TabletFace) -> None:
    tablet.close_strip()
    tablet.shown(2)
    tablet.engine.wait("() => document.querySelector('#draw.quiet') !== null")


def line_when_quiet(tablet: TabletFace) -> None:
    tablet.engine.draw(tablet.px(HALF_MM), tablet.engine.pointers[0])


def strip_after_a_refusal(tablet: TabletFace) -> None:
    tablet.open_strip()
    tablet.engine.click("#strip-done")
    tablet.engine.wait(REFUSED)
    tablet.open_strip()


def rest_when_quiet(tablet: TabletFace) -> None:
    tablet.engine.click("#strip-rest")
    tablet.engine.wait("() => document.getElementById('draw').dataset.phase === 'rest'")


def strip_without_room(tablet: TabletFace) -> None:
    tablet.open_strip()
    tablet.engine.click("#strip-resume")
    tablet.engine.set_size(820, 1180)
    tablet.engine.wait("() => document.getElementById('draw').dataset.phase === 'turn'")
    tablet.open_strip()


def strip_when_full(tablet: TabletFace) -> None:
    tablet.close_strip()
    tablet.engine.set_size(1180, 820)
    tablet.shown(3)
    tablet.engine.js(FULL)
    tablet.engine.draw(tablet.px(WHOLE_MM), tablet.engine.pointers[0])
    warned(tablet, "storage is full")


def strip_with_an_unsaved_line(tablet: TabletFace) -> None:
    tablet.close_strip()
    tablet.shown(4)
    tablet.engine.js(NO_ROOM)
    tablet.engine.draw(tablet.px(HALF_MM), tablet.engine.pointers[0])
    tablet.open_strip()
    tablet.engine.click("#strip-done")
    tablet.shown(5)
    tablet.open_strip()
    warned(tablet, "could not save")


def strip_when_zoomed(tablet: TabletFace) -> None:
    tablet.close_strip()
    tablet.engine.js(ZOOM)
    warned(tablet, "The scale does not hold")


def children_with_all_troubles(tablet: TabletFace) -> None:
    tablet.engine.click("#strip-leave")
    tablet.engine.wait("() => /storage is full/.test(document.getElementById('notices').innerText)")
    tablet.engine.wait("() => document.querySelector('#refused:not([hidden])') !== null")


def calibrate_when_zoomed(tablet: TabletFace) -> None:
    tablet.engine.click("#children-list button")
    tablet.engine.wait("() => /zoomed/.test(document.getElementById('scale-why').innerText)")


# Each state is reached from the one before it.
STATES: States = {
    "pair": opened,
    "calibrate, enlarged by two fingers": pinched,
    "calibrate on a phone": on_a_phone,
    "strip, quiet": strip_when_quiet,
    "guide, quiet": guide_when_quiet,
    "line begun, quiet": line_when_quiet,
    "strip after a line that was refused": strip_after_a_refusal,
    "rest, quiet": rest_when_quiet,
    "strip without room for the picture": strip_without_room,
    "strip, storage is full": strip_when_full,
    "strip, a line could not be saved": strip_with_an_unsaved_line,
    "strip, zoomed": strip_when_zoomed,
    "children, storage full, zoomed, refused": children_with_all_troubles,
    "calibrate, zoomed": calibrate_when_zoomed,
}


def test_axe_finds_nothing_in_any_trouble(engine: Engine, harbour: Harbour, tmp_path: Path) -> None:
    harbour.plan(LINE)
    harbour.start()
    walk(TabletFace(engine, harbour), STATES, tmp_path)
