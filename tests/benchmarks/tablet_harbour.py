"""A server of the demo town and a tablet page in Chromium, for the benchmarks of the tablet."""

import asyncio
import sys
import time
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager, contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, NamedTuple

from playwright.async_api import Browser, CDPSession, Page, async_playwright

sys.path.insert(0, str(Path(__file__).parents[1] / "browser"))

from harbour import Harbour, item, make_town
from tab import CHROMIUM, FLAGS, Points, Tab

__all__ = ["CHROMIUM", "FLAGS", "Harbour", "Points", "Tab", "item"]

VIEWPORT = {"width": 1180, "height": 820}
PX_PER_MM = 5.2
INK_MM = 1.6
"""Width of the child's line, as on the tablet page."""
STATE = """() => {
    const shown = performance.getEntriesByName("guide-shown");
    const ways = ["#setup", "#draw[data-phase=first]", "#children-list button"];
    return {
        origin_ms: performance.timeOrigin, count: shown.length,
        shown_ms: shown.at(-1)?.startTime ?? 0,
        next: ways.find((way) => document.querySelector(way)?.checkVisibility()) ?? null,
    };
}"""
"""Guides shown by this page so far, and what leads on to the next one."""

MIDDLE = """way => {
    const element = document.querySelector(way);
    if (!element?.checkVisibility()) return null;
    const { left, top, width, height } = element.getBoundingClientRect();
    const [x, y] = [left + width / 2, top + height / 2];
    return element.contains(document.elementFromPoint(x, y)) ? [x, y] : null;
}"""
"""Where to press an element; null while something else would get the press."""

SET_UP = ("[data-at=centred]", "[data-surface=flat]", "#setup-go")


class Guide(NamedTuple):
    """A guide that a page has shown; the first two tell it from all others."""

    origin_ms: float
    count: int
    shown_ms: float


@contextmanager
def harbour_of(*items: dict[str, Any]) -> Iterator[Harbour]:
    """A running server whose only child has these items today."""
    with TemporaryDirectory() as folder:
        file = Path(folder) / "linnet.sqlite3"
        make_town(file)
        harbour = Harbour(file)
        harbour.plan(*items)
        harbour.start()
        try:
            yield harbour
        finally:
            harbour.kill()


@asynccontextmanager
async def chromium() -> AsyncIterator[Browser]:
    """A fresh headless browser."""
    async with async_playwright() as playwright:
        browser = await playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        try:
            yield browser
        finally:
            await browser.close()


async def tab_in(browser: Browser, harbour: Harbour) -> Tab:
    """A paired tablet page that shows its children."""
    context = await browser.new_context(viewport=VIEWPORT, has_touch=True)
    page = await context.new_page()
    tab = Tab(harbour, page, await context.new_cdp_session(page))
    await tab.open()
    await tab.pair(px_per_mm=PX_PER_MM)
    return tab


async def onward(page: Page, used: Guide | None = None, limit_s: float = 60.0) -> Guide:
    """Go on from any screen, as an adult does, until a guide other than `used` is shown."""
    until_s = time.monotonic() + limit_s
    while time.monotonic() < until_s:
        state = await page.evaluate(STATE)
        guide = Guide(state["origin_ms"], state["count"], state["shown_ms"])
        if guide.count > 0 and (used is None or guide[:2] != used[:2]):
            return guide
        if state["next"] is not None:
            # What was there may be gone by now: look again.
            for way in SET_UP if state["next"] == "#setup" else [state["next"]]:
                await press(page, way)
        await asyncio.sleep(0.05)
    raise AssertionError("no guide was shown")


async def press(page: Page, way: str) -> None:
    """Press an element, if it is there.

    Playwright's own clicks leave listeners of its own for every later move in the page.
    """
    place = await page.evaluate(MIDDLE, way)
    if place is not None:
        await page.mouse.click(*place)


def pen_event(kind: str, x: float, y: float, at_ms: float | None = None) -> dict[str, Any]:
    """Arguments of one `Input.dispatchMouseEvent`; `kind` is Pressed, Moved or Released."""
    down = kind != "Released"
    event = {
        "type": f"mouse{kind}",
        "x": x,
        "y": y,
        "button": "left",
        "buttons": 1 if down else 0,
        "clickCount": 0 if kind == "Moved" else 1,
        "pointerType": "pen",
        "force": 0.4 if down else 0.0,
        "tiltX": 12,
        "tiltY": -30,
    }
    return event if at_ms is None else event | {"timestamp": at_ms / 1000}


async def send(hand: CDPSession, kind: str, x: float, y: float, at_ms: float | None = None) -> None:
    """Inject one pen event and wait until the page has handled it."""
    await hand.send("Input.dispatchMouseEvent", pen_event(kind, x, y, at_ms))


def ending(figure: float, limit: float, line: str) -> int:
    """Print the last line; exit status."""
    print(f"{line} (limit {limit:g}): {'met' if figure <= limit else 'MISSED'}")
    return 0 if figure <= limit else 1


def weave(count: int, *, share: float = 0.8) -> Points:
    """Places beside Quay Edge that stop short of its stop target. [mm]"""
    return [(13.5 + share * 180 * i / count, 68.0 + 3.0 * ((i // 20) % 2)) for i in range(count)]
