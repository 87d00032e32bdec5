"""What an adult and a child do on the tablet page, in whichever browser it runs."""

import sqlite3
import zlib
from typing import Any

from engine import Engine, Points
from harbour import Harbour
from tab import AREA_MM, CARD_LONG_MM

# What leaves the page, as text; set once a page is open.
LISTEN = """() => {
    globalThis.sent = [];
    const send = globalThis.fetch;
    globalThis.fetch = (path, options) => {
        if (options?.method === "PUT") sent.push(options.body);
        return send(path, options);
    };
}"""

SET_CARD = """width => {
    const slider = document.getElementById("card-size");
    slider.value = width;
    slider.dispatchEvent(new Event("input", { bubbles: true }));
    const { width: across, height: down } = document.getElementById("card").getBoundingClientRect();
    return Math.max(across, down);
}"""

WAITING = """() => new Promise((resolve, reject) => {
    const opening = indexedDB.open("linnet");
    opening.onerror = () => reject(opening.error);
    opening.onsuccess = () => {
        const all = opening.result.transaction("outbox").objectStore("outbox").getAll();
        all.onsuccess = () => { opening.result.close(); resolve(all.result); };
        all.onerror = () => reject(all.error);
    };
})"""

TRIALS_WAITING = f"""async (count) => {{
    const trials = (await ({WAITING})()).filter(({{ id, trial_id }}) => id === trial_id);
    return trials.length >= count && trials;
}}"""

# What an adult presses on the screens that come before a guide.
ONWARD = {
    "setup": ('[data-at="centred"]', '[data-surface="flat"]', "#setup-go"),
    "first": ("#draw",),
}

# What comes between the choice of a child and a guide, where the page has it.
NEXT = """(count) => {
    const draw = document.getElementById("draw");
    if (document.querySelector("#setup:not([hidden])")) return "setup";
    if (!draw.hidden && draw.dataset.phase === "first") return "first";
    return performance.getEntriesByName("guide-shown").length >= count ? "shown" : null;
}"""

SHOWN = "count => performance.getEntriesByName('guide-shown').length >= count"


class TabletFace:
    """The tablet page of one server in one browser."""

    def __init__(self, engine: Engine, harbour: Harbour, url: str | None = None) -> None:
        self.engine = engine
        self.harbour = harbour
        self.url = f"{url or harbour.url}/tablet"
        self.px_per_mm = 0.0

    def open(self) -> None:
        self.engine.open(self.url)
        self.engine.js(LISTEN)

    def leave(self) -> None:
        self.engine.go("about:blank")

    def pair(self) -> None:
        self.engine.fill("#pair-code", self.harbour.pairing_code())
        self.engine.click("#pair-form button")
        self.engine.wait("() => !document.getElementById('calibrate').hidden")

    def calibrate(self, px_per_mm: float = 5.2) -> None:
        """Set the scale; it is what the outline measures then, not what was asked for."""
        if not self.engine.shown("#card-size"):
            self.engine.click("#scale-card")
        self.px_per_mm = self.engine.js(SET_CARD, px_per_mm * CARD_LONG_MM) / CARD_LONG_MM
        self.engine.click("#card-keep")
        self.engine.wait("() => document.querySelector('#children-list button') !== null")

    def choose(self, count: int = 1) -> float:
        """Choose the only child; time of the first frame of the guide with that number [ms]."""
        self.engine.click("#children-list button")
        while (step := self.engine.wait(NEXT, count)) != "shown":
            for css in ONWARD[step]:
                self.engine.click(css)
            self.engine.wait(f"args => ({NEXT})(args[0]) !== args[1]", [count, step])
        return self.shown(count)

    def shown(self, count: int = 1) -> float:
        """Wait until that many guides have been shown; time of the last first frame [ms]."""
        self.engine.wait(SHOWN, count)
        return self.engine.js("() => performance.getEntriesByName('guide-shown').at(-1).startTime")

    def begin(self) -> float:
        self.open()
        self.pair()
        self.calibrate()
        return self.choose()

    def px(self, points_mm: Points) -> list[tuple[float, float]]:
        """Places on the screen of places in the task area, which lies in the middle."""
        width, height = self.engine.js("() => [innerWidth, innerHeight]")
        left = (width - AREA_MM[0] * self.px_per_mm) / 2
        top = (height - AREA_MM[1] * self.px_per_mm) / 2
        return [(left + x * self.px_per_mm, top + y * self.px_per_mm) for x, y in points_mm]

    def open_strip(self) -> None:
        """As an adult with a screen reader does; Firefox without a screen takes no Enter."""
        self.engine.js("() => document.querySelector('.corner.left').click()")
        self.engine.wait("() => document.getElementById('strip').open")

    def close_strip(self) -> None:
        self.engine.click("#strip-close")
        self.engine.wait("() => !document.getElementById('strip').open")

    def finish(self, points_mm: Points, kind: str) -> str:
        """Draw a whole line; the trial as it was sent."""
        before = self.engine.js("() => sent.length")
        self.engine.draw(self.px(points_mm), kind)
        self.engine.wait("count => sent.length > count", before)
        return self.engine.js("() => sent.at(-1)")

    def waiting(self) -> list[dict[str, Any]]:
        """What the tablet keeps for sending, read from its storage past the page."""
        return self.engine.js(WAITING)

    def trials_waiting(self, count: int) -> dict[str, str]:
        """Wait until that many trials wait; their texts by id."""
        rows = self.engine.wait(TRIALS_WAITING, count)
        return {row["id"]: row["body"] for row in rows}

    def drained(self) -> None:
        """Wait until nothing waits on the tablet."""
        self.engine.wait(f"async () => (await ({WAITING})()).length === 0", limit_s=30)

    def faults(self) -> list[str]:
        return self.engine.js("() => globalThis.faults ?? []")


def on_disk(harbour: Harbour, trial_id: str) -> str:
    """A trial as the server's file holds it, read past the server."""
    with sqlite3.connect(harbour.file) as disk:
        rows = disk.execute("SELECT raw FROM trial WHERE id = ?", [trial_id]).fetchall()
    assert len(rows) == 1
    return zlib.decompress(rows[0][0]).decode()
