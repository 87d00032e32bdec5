"""What an adult meets while the tablet page opens or fetches plans. In Chromium."""

import pytest
from harbour import Harbour, item
from tab import Tab, drive

pytestmark = pytest.mark.browser

LINE = item("quay-edge")

# A write to every store that does not end, as a page leaves it that was cut off in one.
HOLD = """() => new Promise((resolve, reject) => {
    const opening = indexedDB.open("linnet");
    opening.onerror = () => reject(opening.error);
    opening.onsuccess = () => {
        const names = [...opening.result.objectStoreNames];
        const transaction = opening.result.transaction(names, "readwrite");
        const again = () => {
            if (globalThis.released) return;
            transaction.objectStore("kept").get("none").onsuccess = again;
        };
        again();
        resolve();
    };
})"""


def test_a_storage_that_does_not_answer_is_told_and_waited_for(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.open()
        await tab.pair()
        await tab.page.wait_for_selector("#children-list button")
        holding = await tab.page.context.new_page()
        await holding.goto(f"{harbour.url}/static/tablet/icon.svg")
        await holding.evaluate(HOLD)
        await tab.page.bring_to_front()
        await tab.open()
        await tab.page.wait_for_selector("#start-silent:not([hidden])", timeout=20_000)
        assert "does not answer" in await tab.page.inner_text("#start-silent")
        await holding.evaluate("() => { globalThis.released = true; }")
        await tab.page.wait_for_selector("#children-list button")
        assert await tab.page.is_hidden("#start-silent")

    drive(harbour, scenario)


def test_a_tap_that_began_before_the_plans_came_chooses_its_child(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.open()
        await tab.pair()
        child = tab.page.locator("#children-list button")
        await child.hover()
        await tab.page.mouse.down()
        async with tab.page.expect_response("**/api/tablet/day"):
            await tab.page.evaluate("() => document.getElementById('go-fetch').click()")
        # The list is filled after the answer, in steps of its own.
        await tab.page.wait_for_timeout(300)
        await tab.page.mouse.up()
        await tab.page.wait_for_selector("#setup:not([hidden])", timeout=3000)

    drive(harbour, scenario)
