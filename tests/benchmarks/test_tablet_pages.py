"""The benchmarks of the tablet page run, and would notice a page that is slow."""

import asyncio
from collections.abc import Callable, Coroutine
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any, TypeVar

import pytest
from playwright.async_api import CDPSession

from tests.benchmarks import tablet_cost, tablet_frames, tablet_paint
from tests.benchmarks.tablet_bare import bare_page
from tests.benchmarks.tablet_harbour import Points, chromium, harbour_of, item, send, weave

pytestmark = pytest.mark.browser

Result = TypeVar("Result")
LINE = item("quay-edge", item_id="line", repetitions=3)
GROSS_RATIO = 2.0
"""The suite has neighbours: it tells gross faults only; `tablet_cost` tells the figure."""
BUSY = "for (const until = performance.now() + MS; performance.now() < until;);"
HELD_MS, FRAME_MS = 80, 1000 / 60
EVERY_60TH = "globalThis.moves = (globalThis.moves ?? 0) + 1; if (moves % 60 === 0) "


def alone(make: Callable[[], Coroutine[Any, Any, Result]]) -> Result:
    """Run in a thread of its own: other tests may hold a loop in this one."""
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(lambda: asyncio.run(make())).result()


def line_px(count: int) -> Points:
    return [(5 * x, 5 * y) for x, y in weave(count)]


def test_a_pointer_event_costs_hardly_more_than_its_line() -> None:
    with harbour_of(LINE) as harbour, bare_page() as address:
        found = alone(lambda: tablet_cost.measured(harbour, address, 3, 60))
    assert all(one.script_us > 5 and other.script_us > 5 for one, other in found)
    assert tablet_cost.ratio_of(found) < GROSS_RATIO


async def listeners_run(hand: CDPSession, points_px: Points) -> list[str]:
    """Names of the functions that ran during the moves of one stroke."""
    rows: list[dict[str, Any]] = []
    ended = asyncio.Event()
    hand.on("Tracing.dataCollected", lambda part: rows.extend(part["value"]))
    hand.on("Tracing.tracingComplete", lambda _: ended.set())
    await send(hand, "Pressed", *points_px[0])
    await hand.send("Tracing.start", {"traceConfig": {"includedCategories": ["devtools.timeline"]}})
    for point in points_px[1:]:
        await send(hand, "Moved", *point)
    await hand.send("Tracing.end")
    await ended.wait()
    await send(hand, "Released", *points_px[-1])
    return [
        row["args"]["data"]["functionName"]
        for row in rows
        if row["name"] == "FunctionCall" and "args" in row and "data" in row["args"]
    ]


def test_the_cost_of_a_move_is_that_of_the_page_alone() -> None:
    """What drives the browser must not listen: Playwright's clicks do from then on."""
    moves = 60

    async def run() -> list[list[str]]:
        with harbour_of(LINE) as harbour:
            async with chromium() as browser:
                tab = await tablet_cost.tablet_in(browser, harbour)
                points_px = tab.all_px(weave(moves + 1))
                found = [await listeners_run(tab.hand, points_px)]
                await tab.page.locator("#draw").wait_for()
                return [*found, await listeners_run(tab.hand, points_px)]

    alone_names, watched_names = alone(run)
    # A timer of the page's own may fall into the stroke.
    assert alone_names.count("#move") == moves <= len(alone_names) <= moves + 2
    assert len(watched_names) >= 2 * moves


def test_a_page_that_works_for_a_millisecond_at_every_move_is_noticed() -> None:
    with bare_page(BUSY.replace("MS", "1")) as busy, bare_page() as plain:

        async def compared() -> float:
            async with chromium() as browser:
                pages = [await tablet_cost.bare_at(browser, one) for one in (busy, plain)]
                return tablet_cost.ratio_of(
                    await tablet_cost.compared(pages[0], pages[1], line_px(60), 3)
                )

        assert alone(compared) > 4


def test_a_page_that_holds_up_a_frame_now_and_then_is_noticed() -> None:
    with bare_page(EVERY_60TH + BUSY.replace("MS", str(HELD_MS))) as address:

        async def drawn() -> tablet_frames.Frames:
            async with chromium() as browser:
                page, hand = await tablet_cost.bare_at(browser, address)
                await page.evaluate(tablet_frames.WATCH)
                return await tablet_frames.watched(page, hand, line_px(1200), 1)

        seen = alone(drawn)
    # 1200 samples come in some 300 moves, one for each frame.
    assert seen.long_tasks > 1
    assert seen.long >= seen.long_tasks
    # A frame's time is that of its beginning: the hold-up may begin up to a frame after it.
    assert max(seen.gaps) > HELD_MS - FRAME_MS


def test_the_page_is_painted_from_its_cache_when_the_server_is_dead(tmp_path: Path) -> None:
    with harbour_of(LINE) as harbour:
        found = alone(lambda: tablet_paint.measured(harbour, tmp_path, 2))
    assert len(found) == 2
    assert all(0 < painted_ms < tablet_paint.LIMIT_MS for painted_ms, _ in found)
