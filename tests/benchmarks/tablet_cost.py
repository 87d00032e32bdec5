"""Script cost of a pointer event on the tablet page, beside a page that only draws the line.

Run: ``python -m tests.benchmarks.tablet_cost``. Both pages get the same pen strokes in
turn, every move waited for, so that one injected move is one event. The time is that of
the main thread itself (Chromium's ScriptDuration in thread ticks), so that a busy machine
slows neither page more than the other.
"""

import argparse
import asyncio
import statistics
import sys
from dataclasses import dataclass

from playwright.async_api import Browser, CDPSession, Page

from tests.benchmarks.tablet_bare import bare_page
from tests.benchmarks.tablet_harbour import (
    VIEWPORT,
    Harbour,
    Points,
    Tab,
    chromium,
    ending,
    harbour_of,
    item,
    onward,
    send,
    tab_in,
    weave,
)

LIMIT_RATIO = 1.25
ROUNDS, MOVES = 9, 240
SETTLE_STROKES = 3


@dataclass
class Cost:
    """Main thread's time for one event. [µs]"""

    script_us: float
    task_us: float


async def spent_s(hand: CDPSession) -> tuple[float, float]:
    """Script and task time of the page so far. [s]"""
    rows = (await hand.send("Performance.getMetrics"))["metrics"]
    found = {row["name"]: row["value"] for row in rows}
    return found["ScriptDuration"], found["TaskDuration"]


async def stroke(hand: CDPSession, points_px: Points) -> Cost:
    """Draw one stroke; cost of its moves alone."""
    await send(hand, "Pressed", *points_px[0])
    before = await spent_s(hand)
    for point in points_px[1:]:
        await send(hand, "Moved", *point)
    after = await spent_s(hand)
    await send(hand, "Released", *points_px[-1])
    count = len(points_px) - 1
    return Cost(*(1e6 * (b - a) / count for a, b in zip(before, after, strict=True)))


Timed = tuple[Page, CDPSession]


async def timed(page: Page, hand: CDPSession) -> Timed:
    """Let the browser measure this page in thread ticks."""
    await hand.send("Performance.enable", {"timeDomain": "threadTicks"})
    return page, hand


async def bare_at(browser: Browser, address: str) -> Timed:
    """The bare page of that address."""
    context = await browser.new_context(viewport=VIEWPORT, has_touch=True)
    page = await context.new_page()
    await page.goto(address)
    return await timed(page, await context.new_cdp_session(page))


async def tablet_in(browser: Browser, harbour: Harbour) -> Tab:
    """A tablet page that shows a guide and that nobody but itself listens to."""
    tab = await tab_in(browser, harbour)
    # Pairing has left Playwright's listeners in the page; a fresh one has none.
    await tab.page.reload()
    await onward(tab.page)
    return tab


async def in_turn(pages: tuple[Timed, Timed], points_px: Points) -> tuple[Cost, Cost]:
    """Cost of one stroke on each of two pages."""
    costs = []
    for page, hand in pages:
        await page.bring_to_front()
        costs.append(await stroke(hand, points_px))
    return costs[0], costs[1]


async def compared(
    one: Timed, other: Timed, points_px: Points, rounds: int
) -> list[tuple[Cost, Cost]]:
    """Costs of both pages, round by round, each page being first in every second one."""
    # The first strokes pay for compiling.
    for _ in range(SETTLE_STROKES):
        await in_turn((one, other), points_px)
    found = []
    for number in range(rounds):
        if number % 2:
            found.append(await in_turn((one, other), points_px))
        else:
            found.append((await in_turn((other, one), points_px))[::-1])
    return found


def ratio_of(found: list[tuple[Cost, Cost]]) -> float:
    """Median of the rounds' ratios."""
    return statistics.median(one.script_us / other.script_us for one, other in found)


async def measured(
    harbour: Harbour, address: str, rounds: int, moves: int
) -> list[tuple[Cost, Cost]]:
    """Cost on the tablet page and on the bare page at `address`, round by round."""
    async with chromium() as browser:
        tab = await tablet_in(browser, harbour)
        bare = await bare_at(browser, address)
        tablet = await timed(tab.page, tab.hand)
        found = await compared(tablet, bare, tab.all_px(weave(moves)), rounds)
        # All strokes belong to one attempt that is still open.
        assert tab.puts == []
        return found


def main() -> int:
    """Print one row per round and the median ratio."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--rounds", type=int, default=ROUNDS)
    parser.add_argument("--moves", type=int, default=MOVES, help="of one stroke")
    asked = parser.parse_args()
    with harbour_of(item("quay-edge", item_id="line")) as harbour, bare_page() as address:
        found = asyncio.run(measured(harbour, address, asked.rounds, asked.moves))
    print(f"{'round':<7}{'tablet µs':>10}{'bare µs':>10}{'ratio':>8}{'task ratio':>12}")
    for number, (ours, plain) in enumerate(found, 1):
        print(
            f"{number:<7}{ours.script_us:>10.1f}{plain.script_us:>10.1f}"
            f"{ours.script_us / plain.script_us:>8.2f}{ours.task_us / plain.task_us:>12.2f}"
        )
    ratios = sorted(ours.script_us / plain.script_us for ours, plain in found)
    middle = ratio_of(found)
    return ending(
        middle,
        LIMIT_RATIO,
        f"script cost of a pointer event, tablet over bare page: {middle:.2f}, "
        f"{ratios[0]:.2f} to {ratios[-1]:.2f}",
    )


if __name__ == "__main__":
    sys.exit(main())
