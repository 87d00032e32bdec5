"""The cue and the go signal, and quiet, in which nothing moves. In Chromium."""

import asyncio

import pytest
from harbour import Harbour, item
from tab import Tab, drive
from test_tablet_modes import draw, lines_of

pytestmark = pytest.mark.browser

LINE = item("quay-edge", repetitions=3)


def test_quiet_holds_everything_still(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        assert await moves(tab)
        await tab.open_strip()
        await tab.page.click("#strip-quiet")
        await tab.page.click("#strip-close")
        await tab.shown(2)
        assert not await moves(tab)
        await draw(tab, LINE)
        document = await tab.document()
        assert document["shown"] == {"guide": "corridor", "cue": "still", "quiet": True}

    drive(harbour, scenario)


async def moves(tab: Tab) -> bool:
    """Whether anything on the child's picture changes within half a second."""
    before = await tab.page.inner_html("#guide")
    for _ in range(5):
        await asyncio.sleep(0.1)
        if await tab.page.inner_html("#guide") != before:
            return True
    return False


def test_the_cue_is_gone_at_the_first_contact(harbour: Harbour) -> None:
    harbour.plan(item("quay-edge", show={"cue": True}))
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        assert await moves(tab)
        (line,) = lines_of(LINE)
        await tab.pen(tab.all_px(line[:60]), held=True)
        assert not await moves(tab)
        await tab.open_strip()
        assert "before the go signal" in await tab.page.inner_text("#strip-about")
        await tab.page.click("#strip-done")
        # Begun before the go signal: none was given.
        document = await tab.document()
        assert "cue_ms" not in document
        assert document["marks"][0]["kind"] == "touched_before_go"
        await tab.drained()
        assert document["trial_id"] in harbour.stored()
        initiation = harbour.report(document["trial_id"])["measures"]["initiation_time"]
        assert initiation["reason"] == "no_time"

    drive(harbour, scenario)


def test_the_go_signal_is_kept_when_the_child_waits_for_it(harbour: Harbour) -> None:
    harbour.plan(item("quay-edge", show={"cue": True}))
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        await asyncio.sleep(4.5)
        await draw(tab, LINE)
        document = await tab.document()
        await tab.drained()
        assert document["marks"] == []
        # A run of the cue takes two to three seconds.
        assert 1500 < document["cue_ms"] < 4000
        first_ms = document["samples"]["t_ms"][0]
        initiation = harbour.report(document["trial_id"])["measures"]["initiation_time"]
        assert initiation["value"] == pytest.approx((first_ms - document["cue_ms"]) / 1000)

    drive(harbour, scenario)
