"""First paint of the tablet page from the service worker's cache, with the server dead.

Run: ``python -m tests.benchmarks.tablet_paint``. The page is opened and paired once; then
the server is killed, and the page is opened again and again: every time in a browser that
has just been started with the same profile, as on a tablet that was switched on.
"""

import argparse
import asyncio
import statistics
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from playwright.async_api import Page, async_playwright

from tests.benchmarks.tablet_harbour import PX_PER_MM, Harbour, ending, harbour_of, item
from tests.benchmarks.tablet_profile import Profile

LIMIT_MS = 1000.0
LOADS = 10
WORKER_LIMIT_MS = 20_000
# The worker's last step before it can stand in for the server.
HELD = """async () => {
    const { active } = await navigator.serviceWorker.ready;
    return active !== null && (await caches.keys()).length > 0;
}"""
PAINTED = """() => new Promise((resolve) => {
    new PerformanceObserver((list) => {
        const paint = list.getEntriesByName("first-contentful-paint")[0];
        if (paint) resolve(paint.startTime);
    }).observe({ type: "paint", buffered: true });
})"""
FROM_WORKER = "performance.getEntriesByType('navigation')[0].workerStart > 0"


async def load_ms(page: Page, url: str) -> tuple[float, float]:
    """First paint with content, and the moment at which the children can be chosen. [ms]"""
    await page.goto(url)
    painted_ms = await page.evaluate(PAINTED)
    await page.wait_for_selector("#children-list button")
    ready_ms = await page.evaluate("performance.now()")
    if not await page.evaluate(FROM_WORKER):
        raise AssertionError("the page did not come from its service worker")
    return painted_ms, ready_ms


async def measured(harbour: Harbour, folder: Path, loads: int) -> list[tuple[float, float]]:
    """Times of every load with the server dead."""
    async with async_playwright() as playwright:
        profile = Profile(playwright, folder, harbour)
        try:
            tab = await profile.start()
            await tab.open()
            await tab.pair(px_per_mm=PX_PER_MM)
            await asyncio.wait_for(tab.page.evaluate(HELD), WORKER_LIMIT_MS / 1000)
            # Once more with the server, so that what is kept is what a second day would find.
            await tab.open()
            await tab.page.wait_for_selector("#children-list button")
            harbour.kill()
            found = []
            for _ in range(loads):
                await profile.shut()
                tab = await profile.start()
                found.append(await load_ms(tab.page, f"{harbour.url}/tablet"))
            return found
        finally:
            profile.kill()
            await profile.close()


def main() -> int:
    """Print one row per load, the median and the worst."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--loads", type=int, default=LOADS)
    asked = parser.parse_args()
    with (
        harbour_of(item("quay-edge", item_id="line")) as harbour,
        TemporaryDirectory(ignore_cleanup_errors=True) as folder,
    ):
        found = asyncio.run(measured(harbour, Path(folder), asked.loads))
    print(f"{'load':<8}{'paint ms':>10}{'children ms':>13}")
    for number, (painted_ms, ready_ms) in enumerate(found, 1):
        print(f"{number:<8}{painted_ms:>10.0f}{ready_ms:>13.0f}")
    painted = [painted_ms for painted_ms, _ in found]
    return ending(
        max(painted),
        LIMIT_MS,
        f"first paint without a server: median {statistics.median(painted):.0f} ms, "
        f"worst {max(painted):.0f} ms",
    )


if __name__ == "__main__":
    sys.exit(main())
