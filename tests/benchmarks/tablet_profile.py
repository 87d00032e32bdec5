"""Chromium with a profile that outlives it, so that it may be killed at any moment."""

import asyncio
import os
import signal
import subprocess
import time
from collections.abc import Awaitable, Callable
from contextlib import suppress
from pathlib import Path

from playwright.async_api import Browser, BrowserContext, Error, Playwright

from tests.benchmarks.tablet_harbour import CHROMIUM, FLAGS, VIEWPORT, Harbour, Tab

START_LIMIT_S = 60.0


class Profile:
    """A browser process of its own group, and its one tablet page."""

    def __init__(self, playwright: Playwright, folder: Path, harbour: Harbour) -> None:
        self.playwright = playwright
        self.folder = folder
        self.harbour = harbour
        self.process: subprocess.Popen[bytes] | None = None
        self.browser: Browser | None = None
        self.tab: Tab | None = None
        self.prepare: Callable[[BrowserContext], Awaitable[None]] | None = None
        """Called for every browser before its page is opened."""

    async def start(self) -> Tab:
        """Start the browser; its page is blank."""
        port_file = self.folder / "DevToolsActivePort"
        port_file.unlink(missing_ok=True)
        size = f"--window-size={VIEWPORT['width']},{VIEWPORT['height']}"
        own = [f"--user-data-dir={self.folder}", "--remote-debugging-port=0", size]
        self.process = subprocess.Popen(  # noqa: ASYNC220
            [CHROMIUM, *FLAGS, *own, "about:blank"],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
        port = await self._port(port_file)
        self.browser = await self.playwright.chromium.connect_over_cdp(f"http://127.0.0.1:{port}")
        context = self.browser.contexts[0]
        page = context.pages[0] if context.pages else await context.new_page()
        await page.set_viewport_size(VIEWPORT)
        if self.prepare is not None:
            await self.prepare(context)
        before = self.tab
        self.tab = Tab(self.harbour, page, await context.new_cdp_session(page))
        if before is not None:
            self.tab.px_per_mm = before.px_per_mm
            self.tab.faults = before.faults
        return self.tab

    @property
    def context(self) -> BrowserContext:
        """The profile's own context."""
        assert self.browser is not None
        return self.browser.contexts[0]

    async def _port(self, file: Path) -> int:
        limit_s = time.monotonic() + START_LIMIT_S
        while time.monotonic() < limit_s:
            with suppress(FileNotFoundError, ValueError):
                # Written in one go, but perhaps not yet.
                return int(file.read_text().split("\n")[0])  # noqa: ASYNC240
            await asyncio.sleep(0.05)
        raise AssertionError("the browser did not start")

    def kill(self) -> None:
        """End the browser and its children without a chance to finish anything."""
        if self.process is not None:
            os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait()
            self.process = None

    async def shut(self) -> None:
        """End the browser as its owner would."""
        if self.process is not None and self.browser is not None:
            session = await self.browser.new_browser_cdp_session()
            with suppress(Error):
                await session.send("Browser.close")
            await asyncio.to_thread(self.process.wait, START_LIMIT_S)
            self.process = None
        await self.close()

    async def close(self) -> None:
        """Forget the connection to a browser that is gone."""
        if self.browser is not None:
            await self.browser.close()
            self.browser = None
