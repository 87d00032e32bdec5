"""The tablet page in a real browser, and what an adult does with it.

`asyncio` runs in a thread of its own: other tests may hold a loop in this one.
"""

import asyncio
import json
import os
import signal
from collections.abc import Awaitable, Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

from hands import Hands
from hands import Points as Points
from harbour import Harbour
from playwright.async_api import Browser, BrowserContext, CDPSession, Page, async_playwright
from shared_browser import CHROMIUM as CHROMIUM
from shared_browser import FLAGS as FLAGS
from shared_browser import awaited

CARD_LONG_MM = 85.60
AREA_MM = (207.0, 136.0)


class Tab(Hands):
    """One tablet page."""

    def __init__(self, harbour: Harbour, page: Page, hand: CDPSession) -> None:
        super().__init__(page, hand)
        self.harbour = harbour
        self.puts: list[dict[str, Any]] = []
        self.faults: list[str] = []
        page.on("request", self._note)
        page.on("pageerror", lambda error: self.faults.append(str(error)))
        self.px_per_mm = 0.0

    def _note(self, request: Any) -> None:
        if request.method == "PUT":
            self.puts.append(json.loads(request.post_data))

    async def open(self) -> None:
        await self.page.goto(f"{self.harbour.url}/tablet")

    async def pair(self, code: str | None = None, *, px_per_mm: float | None = 5.2) -> None:
        """Pair, and set the scale unless `px_per_mm` is None."""
        await self.page.fill("#pair-code", code or self.harbour.pairing_code())
        await self.page.click("#pair-form button")
        await self.page.wait_for_selector("#calibrate:not([hidden])")
        if px_per_mm is None:
            await self.page.click("#card-skip")
            self.px_per_mm = 96 / 25.4
        else:
            await self.page.evaluate(
                """width => {
                    const slider = document.getElementById("card-size");
                    slider.value = width;
                    slider.dispatchEvent(new Event("input"));
                }""",
                px_per_mm * CARD_LONG_MM,
            )
            # The scale is what the outline really measures, not what was asked for.
            box = await self.page.locator("#card").bounding_box()
            assert box is not None
            self.px_per_mm = max(box["width"], box["height"]) / CARD_LONG_MM
            await self.page.click("#card-keep")
        await self.page.wait_for_selector("#children-list button")

    async def choose(self, *, at: str = "centred", surface: str = "flat") -> None:
        """Choose the first child, say how the tablet lies, and go on to the first picture."""
        await self.set_up(at=at, surface=surface)
        await self.skip_first()
        await self.shown()

    async def set_up(self, *, at: str = "centred", surface: str = "flat") -> None:
        await self.choose_only()
        await self.page.click(f'[data-at="{at}"]')
        await self.page.click(f'[data-surface="{surface}"]')
        await self.page.click("#setup-go")

    async def choose_only(self) -> None:
        """Choose the first child, as far as the question of how the tablet lies."""
        await self.page.click("#children-list button")
        await self.page.wait_for_selector("#setup:not([hidden])")

    async def skip_first(self) -> None:
        """Go on from "first this, then that" as a tap does."""
        await self.page.wait_for_selector('#draw[data-phase="first"]')
        await self.page.click("#still", force=True)

    async def shown(self, count: int = 1) -> float:
        """Wait until that many guides have been shown; time of the last first frame [ms]."""
        await self.page.wait_for_function(
            "n => performance.getEntriesByName('guide-shown').length >= n", arg=count
        )
        return await self.page.evaluate(
            "performance.getEntriesByName('guide-shown').at(-1).startTime"
        )

    async def begin(self, **pairing: Any) -> float:
        """Open, pair, choose the child; time of the first guide's first frame [ms]."""
        await self.open()
        await self.pair(**pairing)
        await self.choose()
        return await self.shown()

    def px(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        """Place on the screen of a place in the task area, which lies in the middle."""
        size = self.page.viewport_size
        assert size is not None
        left = (size["width"] - AREA_MM[0] * self.px_per_mm) / 2
        top = (size["height"] - AREA_MM[1] * self.px_per_mm) / 2
        return left + x_mm * self.px_per_mm, top + y_mm * self.px_per_mm

    def all_px(self, points_mm: Points) -> Points:
        return [self.px(x, y) for x, y in points_mm]

    async def open_strip(self) -> None:
        """As an adult with a keyboard does."""
        await self.page.focus(".corner.left")
        await self.page.keyboard.press("Enter")
        await self.page.wait_for_selector("#strip[open]")

    async def carry_on(self) -> None:
        """Go on to the next picture without waiting for the thank-you to end."""
        await self.open_strip()
        await self.page.click("#strip-close")

    async def end_line(self) -> None:
        """End the line by the strip, as an adult does, and go on to the next picture."""
        await self.open_strip()
        await self.page.click("#strip-done")
        await self.carry_on()

    async def document(self, count: int = 1) -> dict[str, Any]:
        """Wait until that many trials went out; the last one as it was sent."""
        for _ in range(300):
            if len(self.puts) >= count:
                return self.puts[count - 1]
            await asyncio.sleep(0.05)
        raise AssertionError(f"{len(self.puts)} trials were sent, {count} were expected")

    async def drained(self, limit_s: float = 20.0) -> None:
        """Wait until nothing waits on the tablet."""
        for _ in range(int(limit_s / 0.1)):
            if await self.waiting() == []:
                return
            await asyncio.sleep(0.1)
        raise AssertionError(f"still waiting: {await self.waiting()}")

    async def waiting_for(self, count: int) -> list[dict[str, Any]]:
        """Wait until that many records wait on the tablet, and return them."""
        for _ in range(100):
            rows = await self.waiting()
            if len(rows) >= count:
                break
            await asyncio.sleep(0.1)
        assert len(rows) == count
        return rows

    async def waiting(self) -> list[dict[str, Any]]:
        """What the tablet keeps for sending, read from its storage past the page."""
        return await self.page.evaluate(
            """() => new Promise((resolve, reject) => {
                const opening = indexedDB.open("linnet");
                opening.onerror = () => reject(opening.error);
                opening.onsuccess = () => {
                    const all = opening.result.transaction("outbox").objectStore("outbox").getAll();
                    all.onsuccess = () => { opening.result.close(); resolve(all.result); };
                };
            })"""
        )


Scenario = Callable[[Tab], Awaitable[None]]


async def _tab(harbour: Harbour, context: BrowserContext) -> Tab:
    page = context.pages[0] if context.pages else await context.new_page()
    hand = await context.new_cdp_session(page)
    # A screen that tells five fingers apart; by itself the emulation tells one.
    await hand.send("Emulation.setTouchEmulationEnabled", {"enabled": True, "maxTouchPoints": 5})
    return Tab(harbour, page, hand)


async def _run(harbour: Harbour, scenario: Scenario, browser: Browser, **options: Any) -> None:
    settings = {"viewport": {"width": 1180, "height": 820}, "has_touch": True} | options
    context = await browser.new_context(**settings)
    tab = await _tab(harbour, context)
    await scenario(tab)
    assert tab.faults == []


async def _run_again(harbour: Harbour, profile: Path, *scenarios: Scenario) -> None:
    """Run scenarios in browsers of one profile, each but the last killed at its end."""
    async with async_playwright() as playwright:
        for number, scenario in enumerate(scenarios, start=1):
            context = await playwright.chromium.launch_persistent_context(
                profile,
                executable_path=CHROMIUM,
                args=FLAGS,
                viewport={"width": 1180, "height": 820},
                has_touch=True,
            )
            tab = await _tab(harbour, context)
            await scenario(tab)
            assert tab.faults == []
            if number < len(scenarios):
                kill_browser(profile)
            else:
                await context.close()


def kill_browser(profile: Path) -> None:
    """End the browser of a profile at once, without a chance to write anything."""
    # The lock's target ends with the number of the browser's process.
    os.kill(int((profile / "SingletonLock").readlink().name.rpartition("-")[2]), signal.SIGKILL)


def drive_again(harbour: Harbour, profile: Path, *scenarios: Scenario) -> None:
    """Run scenarios one after the other, the browser killed between them."""
    with ThreadPoolExecutor(1) as pool:
        pool.submit(lambda: asyncio.run(_run_again(harbour, profile, *scenarios))).result()


def drive(
    harbour: Harbour, scenario: Scenario, *, flags: tuple[str, ...] = (), **options: Any
) -> None:
    """Run a scenario in an empty context of a browser; `options` are those of the context."""
    awaited().run(lambda browser: _run(harbour, scenario, browser, **options), flags)
