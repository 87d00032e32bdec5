"""Many trials on one tablet while network, server and browser fail at random moments.

Run: ``python -m tests.benchmarks.tablet_soak --trials 200 --seed 1``. A pen draws at 200 to
240 events a second; in between and in the middle of strokes the network goes, the server
and the browser are killed, answers are lost and the page is loaded anew. At the end all is
sent, and the record is held against what was drawn, what a killed browser cut off included.
"""

import argparse
import asyncio
import math
import sys
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

from playwright.async_api import async_playwright

from tests.benchmarks.tablet_harbour import (
    PX_PER_MM,
    Guide,
    Harbour,
    Points,
    Tab,
    harbour_of,
    item,
    onward,
    pen_event,
)
from tests.benchmarks.tablet_ledger import Drawn, Findings, check, documents
from tests.benchmarks.tablet_profile import Profile
from tests.benchmarks.tablet_troubles import OF_PAGE, Troubles, schedule

TRIAL_LIMIT_S, DRAIN_LIMIT_S = 120.0, 180.0
THANKED_LIMIT_MS = 20_000
MOMENTS = ("in a stroke", "after the lift", "after the thanks")
FROM_MM, LENGTH_MM, MIDDLE_MM = 13.5, 180.0, 68.0
STOPS_LEFT = """() => {
    const { x, width } = document.querySelector("#guide .quay").getBoundingClientRect();
    return x + width / 2 < innerWidth / 2;
}"""


def plan(trials: int) -> list[dict[str, object]]:
    """Pictures in both directions, more than will be drawn."""
    ways = ("left_to_right", "right_to_left")
    return [
        item("quay-edge", item_id=f"line-{k}", direction=ways[k % 2], repetitions=25)
        for k in range(2 + 2 * trials // 25)
    ]


def line(rng: Random, *, leftward: bool) -> Points:
    """A line along Quay Edge to its stop, with waves and sometimes a way back. [mm]"""
    turns = [0.0, 1.0]
    if rng.random() < 0.4:
        turn = rng.uniform(0.3, 0.7)
        turns = [0.0, turn, turn - rng.uniform(0.05, 0.25), 1.0]
    way = [abs(b - a) for a, b in pairwise(turns)]
    count = rng.randint(140, 480)
    high_mm, waves = rng.uniform(0, 5), rng.randint(1, 6)
    points = []
    for i in range(count):
        left = sum(way) * i / (count - 1)
        k = 0
        while k < len(way) - 1 and left > way[k]:
            left -= way[k]
            k += 1
        s = turns[k] + math.copysign(left, turns[k + 1] - turns[k])
        swing = high_mm * math.sin(math.pi * s) * math.sin(waves * math.pi * s)
        along = 1 - s if leftward else s
        # No two samples lie at one place, not even at a turn.
        y_mm = MIDDLE_MM + swing + 0.2 * math.sin(0.7 * i)
        points.append((FROM_MM + LENGTH_MM * along, y_mm))
    return points


class Soak:
    """One tablet, its server, and the ledger of what was drawn."""

    def __init__(self, harbour: Harbour, profile: Profile, rng: Random) -> None:
        self.harbour = harbour
        self.profile = profile
        self.rng = rng
        self.troubles = Troubles(harbour, profile, rng)
        self.ledger: list[Drawn] = []
        self.used: Guide | None = None

    @property
    def tab(self) -> Tab:
        """The tablet page of the browser that runs now."""
        assert self.profile.tab is not None
        return self.profile.tab

    async def begin(self) -> None:
        """Start, pair, set the scale."""
        tab = await self.profile.start()
        await tab.open()
        await tab.pair(px_per_mm=PX_PER_MM)

    async def trial(self, trouble: str | None) -> None:
        """One attempt, with a trouble or without."""
        guide = await onward(self.tab.page, self.used)
        self.used = guide
        drawn = Drawn(guide.origin_ms, guide.shown_ms)
        self.ledger.append(drawn)
        of_page = trouble if trouble in OF_PAGE else None
        if trouble is not None and of_page is None:
            self.troubles.begin(trouble)
        moment = self.rng.choice(MOMENTS) if of_page else None
        points = line(self.rng, leftward=await self.tab.page.evaluate(STOPS_LEFT))
        await self._draw(drawn, points, cut=moment == MOMENTS[0])
        if moment == MOMENTS[1]:
            await asyncio.sleep(self.rng.uniform(0, 1.2))
        if moment in (None, MOMENTS[2]):
            thanked = self.tab.page.locator("#guide .answered").first
            await thanked.wait_for(state="attached", timeout=THANKED_LIMIT_MS)
            drawn.finished = True
        if of_page == "browser killed":
            await self._kill_browser(drawn)
        elif of_page is not None:
            await self._load_anew(drawn)

    async def _draw(self, drawn: Drawn, points_mm: Points, *, cut: bool) -> None:
        """Draw in one to three strokes; `cut` stops with the pen down, somewhere."""
        rate_hz = self.rng.uniform(200, 240)
        count = len(points_mm)
        lifts = sorted(self.rng.sample(range(10, count - 30, 10), self.rng.randint(0, 2)))
        if cut:
            points_mm = points_mm[: self.rng.randint(max([0, *lifts]) + 5, count - 5)]
        bounds = [0, *lifts, len(points_mm)]
        for first, end in pairwise(bounds):
            last = end == len(points_mm)
            await self._stroke(drawn, points_mm[first:end], rate_hz, held=cut and last)
        if cut:
            # Long enough, now and then, for the page to have written it down.
            await asyncio.sleep(self.rng.uniform(0, 3.0))

    async def _stroke(self, drawn: Drawn, points_mm: Points, rate_hz: float, *, held: bool) -> None:
        origin_ms, clock_ms = await self.tab.clock_ms()
        start_ms = max(clock_ms, drawn.t_ms[-1] + 5 if drawn.t_ms else 0.0)
        begun = len(drawn.t_ms)
        last = len(points_mm) - 1
        sent = []
        for i, (x_mm, y_mm) in enumerate(points_mm):
            kind = "Pressed" if i == 0 else "Moved" if held or i < last else "Released"
            at_ms = start_ms + 1000 * i / rate_hz
            drawn.t_ms.append(at_ms)
            drawn.x_mm.append(x_mm)
            drawn.y_mm.append(y_mm)
            event = pen_event(kind, *self.tab.px(x_mm, y_mm), origin_ms + at_ms)
            sent.append((begun + i, event))
        drawn.heard_s += [math.inf] * len(points_mm)

        async def one(index: int, event: dict[str, object]) -> None:
            await self.tab.hand.send("Input.dispatchMouseEvent", event)
            drawn.heard_s[index] = time.monotonic()

        await asyncio.gather(*(one(index, event) for index, event in sent))

    async def _can_open(self) -> None:
        """Without a service worker a page opens only while server and network are there."""
        held = "navigator.serviceWorker?.controller != null"
        if not await self.tab.page.evaluate(held):
            await self.troubles.over()

    async def _kill_browser(self, drawn: Drawn) -> None:
        await self._can_open()
        await asyncio.sleep(self.rng.uniform(0, 0.4))
        self.troubles.counts["browser killed"] += 1
        drawn.killed_s = time.monotonic()
        self.profile.kill()
        await self.profile.close()
        await self.profile.start()
        await self.tab.open()

    async def _load_anew(self, drawn: Drawn) -> None:
        await self._can_open()
        self.troubles.counts["page loaded anew"] += 1
        await self.tab.page.reload()
        # A page that is left ends its trial and keeps it.
        drawn.finished = True

    async def drained(self) -> None:
        """End all troubles and wait until nothing waits on the tablet."""
        await self.troubles.over()
        until_s = time.monotonic() + DRAIN_LIMIT_S
        while time.monotonic() < until_s:
            # Opened anew, the page tries everything at once.
            await self.tab.open()
            for _ in range(20):
                await asyncio.sleep(0.5)
                if await self.tab.waiting() == []:
                    return
        raise AssertionError(f"still waiting: {len(await self.tab.waiting())} records")


async def _soak(
    harbour: Harbour, folder: Path, trials: int, seed: int, say: Callable[[str], None]
) -> tuple[Findings, Soak]:
    rng = Random(seed)
    before = set(harbour.stored())
    async with async_playwright() as playwright:
        profile = Profile(playwright, folder, harbour)
        soak = Soak(harbour, profile, rng)
        began_s = time.monotonic()
        try:
            await soak.begin()
            for number, trouble in enumerate(schedule(trials, rng), 1):
                await asyncio.wait_for(soak.trial(trouble), TRIAL_LIMIT_S)
                if number % 10 == 0:
                    say(f"{number} trials, {time.monotonic() - began_s:.0f} s")
            # Trials that a killed browser cut off are not among those that were asked for.
            while sum(drawn.finished for drawn in soak.ledger) < trials:
                await asyncio.wait_for(soak.trial(None), TRIAL_LIMIT_S)
            await soak.drained()
            assert soak.tab.faults == []
        finally:
            profile.kill()
            for task in soak.troubles.running:
                task.cancel()
            await profile.close()
    return check(soak.ledger, documents(harbour.file, before)), soak


def soaked(trials: int, seed: int, say: Callable[[str], None]) -> tuple[Findings, Soak]:
    """Draw that many trials; what was found, and how it was made."""
    with (
        harbour_of(*plan(trials)) as harbour,
        TemporaryDirectory(ignore_cleanup_errors=True) as folder,
        ThreadPoolExecutor(1) as pool,
    ):
        task = _soak(harbour, Path(folder), trials, seed, say)
        return pool.submit(lambda: asyncio.run(task)).result()


def lines(found: Findings, soak: Soak) -> list[str]:
    """What is told of a soak."""
    counts = soak.troubles.counts
    return [
        *(f"{name:<26}{counts[name]:>8}" for name in sorted(counts)),
        *(
            f"{name.replace('_', ' '):<26}{value:>8}"
            for name, value in vars(found).items()
            if name != "faults"
        ),
        *found.faults,
    ]


def main() -> int:
    """Print counts of everything and the figure."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--trials", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    found, soak = soaked(asked.trials, asked.seed, lambda text: print(text, flush=True))
    print("\n".join(lines(found, soak)))
    met = found.as_asked
    print(
        f"{found.trials} trials, {found.samples} samples: {found.lost} lost, {found.doubled} "
        f"doubled, {found.samples_lost} samples lost: {'met' if met else 'MISSED'}"
    )
    return 0 if met else 1


if __name__ == "__main__":
    sys.exit(main())
