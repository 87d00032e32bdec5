"""When a line ends, by itself or by the adult, and what comes next. In Chromium."""

import asyncio

import pytest
from harbour import Harbour, item
from quay_edge import LINE, beside, flat
from tab import Tab, drive

pytestmark = pytest.mark.browser

SWELL = item("swell", item_id="swell")


def test_a_lift_outside_the_stop_goes_on_and_the_adult_ends_it(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        await tab.pen(tab.all_px(beside(flat)[:400]))
        await asyncio.sleep(2.2)
        assert tab.puts == []
        await tab.open_strip()
        await tab.page.click('[data-mark="helped"]')
        document = await tab.document()
        await tab.drained()
        assert document["ended_by"] == "adult"
        assert [mark["kind"] for mark in document["marks"]] == ["strip_opened"]
        marks = harbour.facts(document["trial_id"])["marks"]
        assert [mark["outcome"] for mark in marks] == ["finished"]
        assert marks[0]["help"] == {"given": True}

    drive(harbour, scenario)


def test_a_lift_in_the_stop_before_half_the_line_ends_nothing(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        await tab.pen(tab.all_px(beside(flat)[400:]))
        await asyncio.sleep(2.2)
        assert tab.puts == []

    drive(harbour, scenario)


def test_a_line_left_alone_ends_where_the_plan_says_so(harbour: Harbour) -> None:
    harbour.plan(item("quay-edge", item_id="line", show={"idle_end_s": 1}))
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        await tab.pen(tab.all_px(beside(flat)[:300]))
        assert (await tab.document())["ended_by"] == "idle"

    drive(harbour, scenario)


def test_pictures_follow_each_other_and_a_spoilt_one_comes_again(harbour: Harbour) -> None:
    harbour.plan(item("quay-edge", item_id="one"), SWELL)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        await tab.pen(tab.all_px(beside(flat)))
        first = await tab.document()
        await tab.shown(2)
        await tab.open_strip()
        assert await tab.page.inner_text("#strip-title") == "Swell"
        await tab.page.click('[data-mark="spoilt"]')
        await tab.shown(3)
        await tab.pen(tab.all_px(beside(flat)))
        second = await tab.document(2)
        assert [first["plan"]["item_id"], second["plan"]["item_id"]] == ["one", "one"]
        assert [first["plan"]["repetition"], second["plan"]["repetition"]] == [1, 2]
        assert [first["seq"], second["seq"]] == [1, 2]
        assert second["marks"] == []
        await tab.shown(4)
        await tab.pen(tab.all_px([tuple(p) for p in SWELL["guide"]["points_mm"]]))
        third = await tab.document(3)
        assert third["plan"]["item_id"] == "swell"
        await tab.page.wait_for_selector('#draw[data-phase="end"]')
        await tab.drained()
        assert harbour.facts(first["trial_id"])["marks"][0]["outcome"] == "spoilt"

    drive(harbour, scenario)


def test_two_fingers_in_both_corners_open_the_strip_and_one_does_not(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        await tab.touch("Start", (0, 20, 20))
        await asyncio.sleep(1.3)
        assert not await tab.page.is_visible("#strip")
        await tab.touch("Start", (0, 20, 20), (1, 1160, 20))
        await tab.page.wait_for_selector("#strip[open]", timeout=3000)
        await tab.touch("End")
        await tab.page.click("#strip-close")
        shown_ms = await tab.shown(2)
        await tab.pen(tab.all_px(beside(flat)))
        document = await tab.document()
        # Nothing had been drawn: the guide was shown anew and its clock began anew.
        assert shown_ms > 1300
        assert document["samples"]["t_ms"][0] < 3000
        assert document["marks"] == []

    drive(harbour, scenario)
