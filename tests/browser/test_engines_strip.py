"""The adult strip: no higher than its rows, its marks always in reach, in all three engines."""

import pytest
from engine import Engine
from engines import BY_NAME
from harbour import Harbour, item
from tablet_face import TabletFace

pytestmark = [pytest.mark.browser, pytest.mark.parametrize("engine", BY_NAME, indirect=True)]

# Height of the strip and of its last row's end, from its upper edge [CSS px].
HEIGHTS = """() => {
    const strip = document.getElementById("strip");
    const shown = [...strip.children].filter((one) => one.getClientRects().length > 0);
    const { top, bottom } = strip.getBoundingClientRect();
    return [bottom - top, shown.at(-1).getBoundingClientRect().bottom - top];
}"""
PADDING_PX, ROWS_PX = 20, 220
# Whether a finger meets the first mark with the strip scrolled to its end; how far that is [px].
SCROLLED = """() => {
    const strip = document.getElementById("strip");
    strip.scrollTop = 9999;
    const ok = strip.querySelector('[data-mark="ok"]');
    const { x, y, width, height } = ok.getBoundingClientRect();
    const met = document.elementFromPoint(x + width / 2, y + height / 2);
    return [ok.contains(met), strip.scrollTop];
}"""
HALF_MM = [(13.5 + 0.45 * i, 68.0) for i in range(201)]


def test_the_strip_is_as_high_as_its_rows(engine: Engine, harbour: Harbour) -> None:
    harbour.plan(item("quay-edge"))
    harbour.start()
    tablet = TabletFace(engine, harbour)
    tablet.begin()
    tablet.open_strip()
    height_px, rows_px = engine.js(HEIGHTS)
    assert height_px - rows_px < PADDING_PX
    # The head and one row of buttons, close to each other.
    assert rows_px < ROWS_PX


def test_the_marks_stay_in_reach_below_what_unfolds(engine: Engine, harbour: Harbour) -> None:
    harbour.plan(item("quay-edge", hand="free"))
    harbour.start()
    tablet = TabletFace(engine, harbour)
    tablet.begin()
    engine.draw(tablet.px(HALF_MM), engine.pointers[0])
    tablet.open_strip()
    engine.click("#strip-seen")
    in_reach, scrolled_px = engine.js(SCROLLED)
    assert in_reach
    assert scrolled_px > ROWS_PX / 2
