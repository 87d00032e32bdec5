"""Long frames and long tasks of the tablet page while a child draws.

Run: ``python -m tests.benchmarks.tablet_frames``. A pen draws for half a minute at 240
events a second, first with nothing else to do, then with 60 finished trials that wait for
a dead server. A frame counts as long when more than 50 ms lie between it and the one
before, or when the browser itself says so. A bare page drawn on in the same minute tells
what this machine does to any page.
"""

import argparse
import asyncio
import sys
import time
from dataclasses import dataclass

from playwright.async_api import CDPSession, Page

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
    pen_event,
    tab_in,
    weave,
)

RATE_HZ, STROKE_S, STROKES = 240, 5.0, 6
LONG_MS = 50.0
AFTER_LIFT_MS = 150
"""A lift is part of its stroke, and what it sets going too."""
WAITING = 60
WATCH = """() => {
    globalThis.watched = { frames: [], longtask: [], "long-animation-frame": [], at: null };
    for (const type of ["longtask", "long-animation-frame"]) {
        if (!PerformanceObserver.supportedEntryTypes.includes(type)) continue;
        new PerformanceObserver((list) => {
            for (const { startTime, duration } of list.getEntries()) {
                watched[type].push([startTime, startTime + duration]);
            }
        }).observe({ type });
    }
    const next = (at) => {
        if (watched.at !== null) watched.frames.push([watched.at, at]);
        watched.at = at;
        requestAnimationFrame(next);
    };
    requestAnimationFrame(next);
}"""
# Rows of trials with ids of their own, as the page itself would keep them.
MULTIPLY = """(count) => new Promise((resolve, reject) => {
    const opening = indexedDB.open("linnet");
    opening.onerror = () => reject(opening.error);
    opening.onsuccess = () => {
        const box = opening.result.transaction("outbox", "readwrite").objectStore("outbox");
        box.getAll().onsuccess = ({ target }) => {
            const trial = target.result.find((row) => row.id === row.trial_id);
            for (let i = 0; i < count; i += 1) {
                const id = crypto.randomUUID();
                box.put({ ...trial, id, trial_id: id, path: `/api/trials/${id}` });
            }
        };
        box.transaction.oncomplete = () => { opening.result.close(); resolve(); };
        box.transaction.onabort = () => reject(box.transaction.error);
    };
})"""


@dataclass
class Frames:
    """What was seen during some strokes. [ms]"""

    drawn_s: float
    events: int
    gaps: list[float]
    long_tasks: int
    long_frames: int

    @property
    def long(self) -> int:
        """Frames longer than 50 ms."""
        return max(sum(gap > LONG_MS for gap in self.gaps), self.long_tasks, self.long_frames)


async def stroke(page: Page, hand: CDPSession, points_px: Points) -> tuple[float, float]:
    """Draw one stroke in real time; its begin and end on the page's clock. [ms]"""
    origin_ms, start_ms = await page.evaluate("[performance.timeOrigin, performance.now()]")
    began_s = time.monotonic()
    last = len(points_px) - 1
    sent = []
    for i, point in enumerate(points_px):
        early_s = began_s + i / RATE_HZ - time.monotonic()
        if early_s > 0:
            await asyncio.sleep(early_s)
        kind = "Pressed" if i == 0 else "Released" if i == last else "Moved"
        event = pen_event(kind, *point, origin_ms + start_ms + 1000 * i / RATE_HZ)
        sent.append(asyncio.create_task(hand.send("Input.dispatchMouseEvent", event)))
    await asyncio.gather(*sent)
    await asyncio.sleep(AFTER_LIFT_MS / 1000)
    return start_ms, await page.evaluate("performance.now()")


async def watched(page: Page, hand: CDPSession, points_px: Points, strokes: int) -> Frames:
    """Draw strokes and gather what lies within them."""
    await page.bring_to_front()
    spans = [await stroke(page, hand, points_px) for _ in range(strokes)]
    seen = await page.evaluate("watched")

    def within(name: str) -> list[float]:
        return [
            end - start
            for start, end in seen[name]
            if any(start < until and end > since for since, until in spans)
        ]

    drawn_s = sum(until - since for since, until in spans) / 1000
    counts = [sum(x > LONG_MS for x in within(x)) for x in ("longtask", "long-animation-frame")]
    return Frames(drawn_s, strokes * len(points_px), within("frames"), *counts)


async def finish_one(tab: Tab) -> None:
    """Draw one trial to its end."""
    points_px = tab.all_px(weave(int(2 * RATE_HZ), share=1.0))
    await stroke(tab.page, tab.hand, points_px)
    await tab.page.locator("#guide .answered").first.wait_for(state="attached")


async def measured(harbour: Harbour, address: str, strokes: int) -> dict[str, Frames]:
    """Frames of the tablet page in both states, and of the bare page."""
    async with chromium() as browser:
        tab = await tab_in(browser, harbour)
        guide = await onward(tab.page)
        context = await browser.new_context(viewport=VIEWPORT, has_touch=True)
        bare = await context.new_page()
        await bare.goto(address)
        hand = await context.new_cdp_session(bare)
        points_px = tab.all_px(weave(int(STROKE_S * RATE_HZ)))
        for page in (tab.page, bare):
            await page.evaluate(WATCH)
        found = {
            "tablet page": await watched(tab.page, tab.hand, points_px, strokes),
            "bare page": await watched(bare, hand, points_px, strokes),
        }
        await tab.page.bring_to_front()
        harbour.kill()
        await finish_one(tab)
        await onward(tab.page, guide)
        await tab.page.evaluate(MULTIPLY, WAITING - 1)
        waiting = [row for row in await tab.waiting() if row["id"] == row["trial_id"]]
        assert len(waiting) == WAITING
        found[f"tablet page, {WAITING} waiting"] = await watched(
            tab.page, tab.hand, points_px, strokes
        )
        return found


def main() -> int:
    """Print one row per page and the number of long frames of the tablet page."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--strokes", type=int, default=STROKES, help=f"of {STROKE_S:g} s")
    asked = parser.parse_args()
    with (
        harbour_of(item("quay-edge", item_id="line", repetitions=3)) as harbour,
        bare_page() as address,
    ):
        found = asyncio.run(measured(harbour, address, asked.strokes))
    print(f"{'':<26}{'s':>6}{'events/s':>10}{'worst ms':>10}{'> 50 ms':>9}{'tasks':>7}{'long':>6}")
    for name, one in found.items():
        print(
            f"{name:<26}{one.drawn_s:>6.1f}{one.events / one.drawn_s:>10.0f}"
            f"{max(one.gaps):>10.1f}{sum(gap > LONG_MS for gap in one.gaps):>9}"
            f"{one.long_tasks:>7}{one.long_frames:>6}"
        )
    total = sum(one.long for name, one in found.items() if name.startswith("tablet"))
    return ending(total, 0, f"frames of more than 50 ms in the strokes: {total}")


if __name__ == "__main__":
    sys.exit(main())
