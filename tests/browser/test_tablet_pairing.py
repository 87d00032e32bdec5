"""Pairing the tablet page, and what it says of its scale, connection and screen. In Chromium."""

import pytest
from harbour import Harbour
from quay_edge import LINE, LINE_FROM_MM, beside, flat
from tab import Tab, drive

pytestmark = pytest.mark.browser


def test_a_pairing_code_that_is_wrong_says_so(harbour: Harbour) -> None:
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.open()
        for code, words in (
            ("12", "8 characters"),
            ("WRONG777", "not known"),
            ("", "8 characters"),
        ):
            await tab.page.fill("#pair-code", code)
            await tab.page.click("#pair-form button")
            await tab.page.wait_for_selector(f"#pair-fault:has-text('{words}')")
            assert await tab.page.is_visible("#pair-form")

    drive(harbour, scenario)


def test_a_scanned_link_fills_in_the_code_and_keeps_it_out_of_the_address(
    harbour: Harbour,
) -> None:
    harbour.start()

    async def scenario(tab: Tab) -> None:
        code = harbour.pairing_code()
        await tab.page.goto(f"{harbour.url}/tablet#code={code}")
        await tab.page.wait_for_selector("#pair:not([hidden])")
        assert await tab.page.input_value("#pair-code") == code
        assert tab.page.url == f"{harbour.url}/tablet"
        await tab.page.click("#pair-form button")
        await tab.page.wait_for_selector("#calibrate:not([hidden])")

    drive(harbour, scenario)


def test_without_a_scale_the_adult_is_told_and_the_trial_flagged(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.open()
        await tab.pair(px_per_mm=None)
        assert "not checked" in await tab.page.inner_text("#notices")
        await tab.choose()
        await tab.pen(tab.all_px(beside(flat)))
        document = await tab.document()
        await tab.drained()
        assert document["device"]["calibrated"] is False
        report = harbour.report(document["trial_id"])
        assert "uncalibrated" in report["quality"]["flags"]
        assert report["measures"]["deviation_mean_abs"] | {"unit": "mm"} == {
            "value": None,
            "unit": "mm",
            "reason": "not_calibrated",
        }

    drive(harbour, scenario)


def test_over_an_open_connection_it_works_tells_the_adult_and_flags(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.page.goto(f"http://tablet.test:{harbour.port}/tablet")
        await tab.pair()
        assert "open connection" in await tab.page.inner_text("#notices")
        await tab.choose()
        # Only one event a frame arrives here: at once, the whole stroke would be two or three.
        await tab.pen(tab.all_px(beside(flat)[::6]), one_by_one=True)
        document = await tab.document()
        await tab.drained()
        assert document["device"]["secure_context"] is False
        assert document["device"]["coalesced"] is False
        flags = harbour.report(document["trial_id"])["quality"]["flags"]
        assert {"insecure_context", "parent_events_only"} <= set(flags)

    drive(harbour, scenario, flags=("--host-resolver-rules=MAP tablet.test 127.0.0.1",))


def test_on_a_screen_too_narrow_the_picture_asks_to_be_turned(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.open()
        await tab.pair(px_per_mm=3.9)
        await tab.set_up()
        await tab.page.wait_for_selector('#draw[data-phase="turn"]')
        assert await tab.page.inner_text("#draw") == ""
        await tab.page.set_viewport_size({"width": 844, "height": 390})
        await tab.skip_first()
        await tab.shown()
        await tab.pen(tab.all_px(beside(flat)))
        document = await tab.document()
        assert document["samples"]["x_mm"][0] == pytest.approx(LINE_FROM_MM, abs=0.01)

    drive(harbour, scenario, viewport={"width": 390, "height": 844})


def test_the_childs_screen_has_nothing_to_read_and_stays_still_when_asked(
    harbour: Harbour,
) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        assert (await tab.page.inner_text("body")).strip() == ""
        await tab.pen(tab.all_px(beside(flat)))
        await tab.page.wait_for_selector("#guide .answered", state="attached")
        moved = await tab.page.evaluate(
            "getComputedStyle(document.querySelector('#guide .answered .sign')).transform"
        )
        assert moved in ("none", "matrix(1, 0, 0, 1, 0, 0)")
        assert (await tab.page.inner_text("body")).strip() == ""

    drive(harbour, scenario, reduced_motion="reduce")
