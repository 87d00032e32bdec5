"""The field that an adult fits to a card, as large as it becomes. In Chromium."""

import pytest
from harbour import Harbour
from tab import Tab, drive

pytestmark = pytest.mark.browser

SIZES = ((1180, 820), (1080, 810), (390, 844))
LARGEST = """() => {
    const slider = document.getElementById("card-size");
    slider.value = slider.max;
    slider.dispatchEvent(new Event("input"));
}"""
# What a finger meets at the lower edge of the handle.
MET = """() => {
    const { x, y, width, height } = document.getElementById("card-handle").getBoundingClientRect();
    return document.elementFromPoint(x + width / 2, y + height - 2)?.id ?? null;
}"""


def test_the_handle_is_never_under_the_buttons(harbour: Harbour) -> None:
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.open()
        await tab.page.fill("#pair-code", harbour.pairing_code())
        await tab.page.click("#pair-form button")
        await tab.page.wait_for_selector("#calibrate:not([hidden])")
        for width, height in SIZES:
            await tab.page.set_viewport_size({"width": width, "height": height})
            for way in ("#scale-ruler", "#scale-card"):
                await tab.page.click(way)
                await tab.page.evaluate(LARGEST)
                assert await tab.page.evaluate(MET) == "card-handle", (width, way)
                # The whole field is seen with it.
                box = await tab.page.locator("#card").bounding_box()
                assert box is not None
                assert box["y"] >= 0, (width, way)

    drive(harbour, scenario)
