"""The adult strip is no higher than what stands in it, in any of the three engines."""

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
