"""What goes wrong in a soak of the tablet: network, server, lost answers; each for a while."""

import asyncio
from collections import Counter
from contextlib import suppress
from random import Random

from playwright.async_api import BrowserContext, Error, Route

from tests.benchmarks.tablet_harbour import Harbour
from tests.benchmarks.tablet_profile import Profile

SHARES = {
    "network off": 0.12,
    "server killed": 0.10,
    "answers lost": 0.12,
    "browser killed": 0.08,
    "page loaded anew": 0.08,
}
"""How many of the trials each trouble comes to."""
OF_PAGE = ("browser killed", "page loaded anew")
LONGEST_DELAY_S, LONGEST_OUTAGE_S = 4.0, 6.0
ANSWER_LIMIT_S = 8.0
NETWORK_TRIES = 20


def schedule(trials: int, rng: Random) -> list[str | None]:
    """A trouble, or none, for every trial, in random order; each kind comes at least once."""
    found: list[str | None] = []
    for name, share in SHARES.items():
        found += [name] * max(1, round(share * trials))
    found += [None] * (trials - len(found))
    rng.shuffle(found)
    return found


class Troubles:
    """Brings and ends the troubles that do not touch the page itself."""

    def __init__(self, harbour: Harbour, profile: Profile, rng: Random) -> None:
        self.harbour = harbour
        self.profile = profile
        self.rng = rng
        self.counts: Counter[str] = Counter()
        self.to_lose = 0
        self.one_at_a_time = asyncio.Lock()
        self.running: set[asyncio.Task[None]] = set()
        profile.prepare = self.prepare

    async def prepare(self, context: BrowserContext) -> None:
        """Watch the answers of a new browser."""
        await context.route("**/api/trials/*", self._answer)

    async def _answer(self, route: Route) -> None:
        # A request of a page that is gone meanwhile may never be answered for.
        with suppress(Error, TimeoutError):
            async with asyncio.timeout(ANSWER_LIMIT_S):
                await self._answered(route)

    async def _answered(self, route: Route) -> None:
        if self.to_lose == 0 or route.request.method != "PUT":
            await route.continue_()
            return
        # The server has the trial; the tablet does not learn of it.
        answer = await route.fetch()
        if answer.status < 300:
            self.to_lose -= 1
            self.counts["answers lost"] += 1
        await route.abort()

    def begin(self, name: str) -> None:
        """Let a trouble come at a random moment of the next seconds."""
        if name == "answers lost":
            self.to_lose += self.rng.randint(1, 3)
            return
        task = asyncio.create_task(self._outage(name))
        self.running.add(task)
        task.add_done_callback(self.running.discard)

    async def _pause(self, most_s: float) -> None:
        await asyncio.sleep(self.rng.uniform(0, most_s))

    async def _outage(self, name: str) -> None:
        # One at a time: a server cannot be killed twice.
        async with self.one_at_a_time:
            await self._pause(LONGEST_DELAY_S)
            await (self._server() if name == "server killed" else self._network())

    async def _server(self) -> None:
        self.counts["server killed"] += 1
        self.harbour.kill()
        await self._pause(LONGEST_OUTAGE_S)
        await asyncio.to_thread(self.harbour.start)

    async def _network(self) -> None:
        for _ in range(NETWORK_TRIES):
            # A browser that is killed meanwhile comes back with its network on.
            with suppress(Error, AssertionError):
                context = self.profile.context
                await context.set_offline(True)
                self.counts["network off"] += 1
                await self._pause(LONGEST_OUTAGE_S)
                await context.set_offline(False)
                return
            await asyncio.sleep(1)

    async def over(self) -> None:
        """Wait until every trouble has ended."""
        while self.running:
            await asyncio.gather(*self.running)
