"""The child's page stays: no way back from it, and no leaving at a loss unasked. In Chromium."""

import asyncio
from typing import Any

import pytest
from harbour import Harbour
from quay_edge import LINE, beside, flat
from tab import Tab, drive

pytestmark = pytest.mark.browser

# A database that takes no trial from here on, however much is given up for it.
NO_ROOM = """() => {
    const { put } = IDBObjectStore.prototype;
    IDBObjectStore.prototype.put = function (...row) {
        if (this.name === "outbox" && !globalThis.roomy) {
            throw new DOMException("full", "QuotaExceededError");
        }
        return put.apply(this, row);
    };
}"""


async def go_back(tab: Tab) -> None:
    """Press the mouse's own back button, which goes back as the browser's own does."""
    press = {"x": 500, "y": 300, "button": "back", "clickCount": 1}
    for kind, held in (("mousePressed", 8), ("mouseReleased", 0)):
        await tab.hand.send("Input.dispatchMouseEvent", press | {"type": kind, "buttons": held})
    await asyncio.sleep(0.3)


def test_back_neither_leaves_the_childs_page_nor_ends_the_line(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        before = f"{harbour.url}/static/tablet/icon.svg"
        await tab.page.goto(before)
        await tab.open()
        await tab.page.wait_for_selector("#pair:not([hidden])")
        await go_back(tab)
        assert tab.page.url == before
        await tab.begin()
        for _ in range(3):
            await go_back(tab)
        way = tab.all_px(beside(flat))
        await tab.pen(way[:50], held=True)
        await tab.page.evaluate("history.back()")
        await asyncio.sleep(0.3)
        await tab.rest_of_stroke(way[50:])
        document = await tab.document()
        assert document["ended_by"] == "stop_target"
        assert set(document["samples"]["stroke"]) == {0}
        assert document["marks"] == []
        await tab.open_strip()
        await tab.page.click("#strip-leave")
        await tab.page.wait_for_selector("#children:not([hidden])")
        # Among the children the adult goes back as on any page, and loads it anew as ever.
        await tab.page.reload()
        await tab.choose()
        await go_back(tab)
        assert await tab.page.get_attribute("#draw", "data-phase") == "draw"
        await tab.open_strip()
        await tab.page.click("#strip-leave")
        await tab.page.wait_for_selector("#children:not([hidden])")
        for _ in range(3):
            await go_back(tab)
        assert tab.page.url == before

    drive(harbour, scenario)


def test_the_browser_asks_before_a_line_is_lost_and_not_after(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()
    before = harbour.stored()

    async def scenario(tab: Tab) -> None:
        asked = []

        async def stay(dialog: Any) -> None:
            asked.append(dialog.type)
            await dialog.dismiss()

        await tab.begin()
        tab.page.on("dialog", stay)
        await tab.page.evaluate(NO_ROOM)
        harbour.kill()
        await tab.pen(tab.all_px(beside(flat)))
        await tab.page.wait_for_selector("#guide .answered", state="attached")
        await tab.page.evaluate("location.reload()")
        await asyncio.sleep(0.5)
        assert asked == ["beforeunload"]
        await tab.open_strip()
        assert "could not save" in await tab.page.inner_text("#strip-warning")
        await tab.page.evaluate("() => { globalThis.roomy = true; }")
        await tab.page.click("#strip-leave")
        await tab.page.wait_for_selector("#children:not([hidden])")
        assert len(await tab.waiting_for(1)) == 1
        assert "full" not in await tab.page.inner_text("#notices")
        await tab.page.reload()
        await tab.page.wait_for_selector("#children-list button")
        assert asked == ["beforeunload"]
        harbour.start()
        await tab.drained()
        assert len(harbour.stored()) == len(before) + 1

    drive(harbour, scenario)
