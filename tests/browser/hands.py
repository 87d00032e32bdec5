"""Hands on a page in Chromium: a pen and fingers.

They are injected through the browser's own input, so the page sees trusted events.
"""

import asyncio
import math
from dataclasses import dataclass
from typing import Any

from playwright.async_api import CDPSession, Page

Points = list[tuple[float, float]]


@dataclass
class Drawn:
    """What was injected: places on the screen [CSS px] and times on the page's clock [ms]."""

    points_px: Points
    times_ms: list[float]


class Hands:
    """What draws on one page."""

    def __init__(self, page: Page, hand: CDPSession) -> None:
        self.page = page
        self.hand = hand

    async def clock_ms(self) -> tuple[float, float]:
        """The page's time origin [ms since 1970] and its clock [ms]."""
        origin, clock = await self.page.evaluate("[performance.timeOrigin, performance.now()]")
        return origin, clock

    async def pen(self, points_px: Points, *, rate_hz: float = 200.0, **more: Any) -> Drawn:
        """Draw one pen stroke; events are sent without waiting unless `one_by_one`."""
        origin_ms, start_ms = await self.clock_ms()
        events = []
        times_ms = []
        last = len(points_px) - 1
        for i, (x, y) in enumerate(points_px):
            times_ms.append(start_ms + 1000 * i / rate_hz)
            kind = "mousePressed" if i == 0 else "mouseReleased" if i == last else "mouseMoved"
            if kind == "mouseReleased" and more.get("held"):
                kind = "mouseMoved"
            down = kind != "mouseReleased"
            events.append(
                {
                    "type": kind,
                    "x": x,
                    "y": y,
                    "button": "left",
                    "buttons": 1 if down else 0,
                    "clickCount": 1 if i in (0, last) else 0,
                    "pointerType": "pen",
                    "force": 0.4 + 0.05 * math.sin(i / 9) if down else 0.0,
                    "tiltX": 12,
                    "tiltY": -30,
                    "timestamp": (origin_ms + times_ms[-1]) / 1000,
                }
            )
        sent = (self.hand.send("Input.dispatchMouseEvent", event) for event in events)
        if more.get("one_by_one"):
            for event in sent:
                await event
        else:
            await asyncio.gather(*sent)
        return Drawn(points_px, times_ms)

    async def touch(self, kind: str, *points: tuple[int, float, float]) -> None:
        """Send one touch event: `kind` is Start, Move, End or Cancel; points are (id, x, y)."""
        await self.hand.send(
            "Input.dispatchTouchEvent",
            {
                "type": f"touch{kind}",
                "touchPoints": [{"id": i, "x": x, "y": y} for i, x, y in points],
            },
        )

    async def finger(self, points_px: Points) -> None:
        await self.touch("Start", (0, *points_px[0]))
        for point in points_px[1:]:
            await self.touch("Move", (0, *point))
        await self.touch("End")

    async def rest_of_stroke(self, points_px: Points) -> None:
        """Go on with a pen that is down, to the lift."""
        await self.slide(points_px[:-1])
        await self._pen_at("mouseReleased", points_px[-1])

    async def slide(self, points_px: Points) -> None:
        """Go on with a pen that is down, and leave it there."""
        for place in points_px:
            await self._pen_at("mouseMoved", place)

    async def _pen_at(self, kind: str, place: tuple[float, float]) -> None:
        down = kind != "mouseReleased"
        await self.hand.send(
            "Input.dispatchMouseEvent",
            {
                "type": kind,
                "x": place[0],
                "y": place[1],
                "button": "left",
                "buttons": 1 if down else 0,
                "pointerType": "pen",
                "force": 0.4 if down else 0.0,
            },
        )

    async def two_fingers(self, *paths_px: Points) -> None:
        """Draw with a finger on each path at once, all as many points long."""
        steps = list(zip(*paths_px, strict=True))
        await self.touch("Start", *((i, *at) for i, at in enumerate(steps[0])))
        for step in steps[1:]:
            await self.touch("Move", *((i, *at) for i, at in enumerate(step)))
        await self.touch("End")
