"""Chromium started once in each process of a run; every test gets contexts of its own.

A context is as empty as a new browser: its storage, cache, cookies and workers are nobody
else's. What is closed at the end of a test is every context, so that nothing goes on.
"""

import asyncio
import shutil
from collections.abc import Awaitable, Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from functools import cache
from threading import Thread

from playwright import async_api, sync_api

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or "/usr/bin/chromium"
FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
END_LIMIT_S = 30.0


class Awaited:
    """Browsers for scenarios that await, by their flags, in a loop and a thread of their own.

    Other tests may hold a loop in the thread of the run.
    """

    def __init__(self) -> None:
        self.loop = asyncio.new_event_loop()
        self.thread = Thread(target=self.loop.run_forever, daemon=True)
        self.thread.start()
        self.driver: async_api.Playwright | None = None
        self.browsers: dict[tuple[str, ...], async_api.Browser] = {}

    def run(
        self, scenario: Callable[[async_api.Browser], Awaitable[None]], flags: tuple[str, ...]
    ) -> None:
        asyncio.run_coroutine_threadsafe(self._run(scenario, flags), self.loop).result()

    async def _run(
        self, scenario: Callable[[async_api.Browser], Awaitable[None]], flags: tuple[str, ...]
    ) -> None:
        browser = await self._browser(flags)
        try:
            await scenario(browser)
        finally:
            for context in browser.contexts:
                await context.close()

    async def _browser(self, flags: tuple[str, ...]) -> async_api.Browser:
        if self.driver is None:
            self.driver = await async_api.async_playwright().start()
        browser = self.browsers.get(flags)
        if browser is None or not browser.is_connected():
            browser = await self.driver.chromium.launch(
                executable_path=CHROMIUM, args=[*FLAGS, *flags]
            )
            self.browsers[flags] = browser
        return browser

    async def _end(self) -> None:
        for browser in self.browsers.values():
            await browser.close()
        if self.driver is not None:
            await self.driver.stop()

    def end(self) -> None:
        asyncio.run_coroutine_threadsafe(self._end(), self.loop).result(END_LIMIT_S)
        self.loop.call_soon_threadsafe(self.loop.stop)
        self.thread.join(END_LIMIT_S)
        self.loop.close()


class Plain:
    """A browser for scenarios that do not await, in a thread of its own."""

    def __init__(self) -> None:
        self.pool = ThreadPoolExecutor(1)
        self.open = ExitStack()
        self.driver: sync_api.Playwright | None = None
        self.browser: sync_api.Browser | None = None

    def run(self, scenario: Callable[[sync_api.Browser], None]) -> None:
        self.pool.submit(self._run, scenario).result()

    def _run(self, scenario: Callable[[sync_api.Browser], None]) -> None:
        if self.driver is None:
            self.driver = self.open.enter_context(sync_api.sync_playwright())
        if self.browser is None or not self.browser.is_connected():
            self.browser = self.driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        try:
            scenario(self.browser)
        finally:
            for context in self.browser.contexts:
                context.close()

    def _end(self) -> None:
        if self.browser is not None:
            self.browser.close()
        self.open.close()

    def end(self) -> None:
        self.pool.submit(self._end).result(END_LIMIT_S)
        self.pool.shutdown()


@cache
def awaited() -> Awaited:
    return Awaited()


@cache
def plain() -> Plain:
    return Plain()


def end_all() -> None:
    """End every browser of this process that was started here."""
    for made in (awaited, plain):
        if made.cache_info().currsize:
            made().end()
        made.cache_clear()
