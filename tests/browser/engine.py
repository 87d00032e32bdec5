"""One face for three real browsers, so that one scenario runs in all of them.

What a browser's own doors cannot do stands in `cannot` with the reason; a scenario with
such a parameter is left out with that reason, never silently.
"""

import contextlib
import json
import os
import re
import shutil
import signal
import subprocess
import time
from abc import ABC, abstractmethod
from collections.abc import Callable, Iterable, Sequence
from ctypes.util import find_library
from importlib.resources import files
from pathlib import Path
from typing import Any, ClassVar

import pytest

SIZE_PX = (1180, 820)
POLL_S = 0.02
STARTS_IN_S = 60.0

Points = Sequence[tuple[float, float]]

# The middle of the first such element that is shown, can be pressed and has nothing over it.
PLACE = """(css) => {
    const shown = (one) => one.getClientRects().length > 0 && !one.disabled;
    const found = [...document.querySelectorAll(css)].find(shown);
    if (!found) return null;
    found.scrollIntoView({ block: "nearest", inline: "nearest", behavior: "instant" });
    const box = found.getBoundingClientRect();
    const [x, y] = [box.x + box.width / 2, box.y + box.height / 2];
    const top = document.elementFromPoint(x, y);
    return top !== null && found.contains(top) ? [x, y] : null;
}"""

WATCH = """() => {
    globalThis.faults = [];
    addEventListener("error", (event) => faults.push(event.message));
    addEventListener("unhandledrejection", (event) => faults.push(String(event.reason)));
}"""

AXE = """async () => {
    const { violations } = await axe.run(document, { resultTypes: ["violations"] });
    return violations.map(({ id, impact, help, nodes }) => ({
        id, impact, help, nodes: nodes.map(({ html, failureSummary }) => ({
            html: html.slice(0, 200), why: failureSummary.replaceAll("\\n", " "),
        })),
    }));
}"""


class PageFault(Exception):
    """The browser, or a script in its page, answered with an error."""


def awaited(function: str, arg: Any = None) -> str:
    """Expression that calls a function's source and gives JSON text of what it promises."""
    called = f"({function})({json.dumps(arg)})"
    return f"(async () => JSON.stringify((await {called}) ?? null))()"


class Engine(ABC):
    """One browser process with one page."""

    name: ClassVar[str]
    programs: ClassVar[dict[str, tuple[str, ...]]]
    """What must be installed: what it is, and the names it may have."""
    libraries: ClassVar[tuple[str, ...]] = ()
    """What must be installed besides, as the linker calls it."""
    pointers: ClassVar[tuple[str, ...]]
    cannot: ClassVar[dict[str, str]] = {}
    """What this engine's doors cannot do, and why."""
    whole_px: ClassVar[bool] = True
    """Whether places arrive as whole pixels."""
    sets_times: ClassVar[bool] = False
    """Whether a sample's time is the one that was asked for, however busy the machine is."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.profile = folder / "profile"
        self.profile.mkdir(parents=True, exist_ok=True)
        self.log = folder / "browser.log"
        self.process: subprocess.Popen[bytes] | None = None

    @classmethod
    def program(cls, what: str) -> str | None:
        return next(filter(None, map(shutil.which, cls.programs[what])), None)

    @classmethod
    def lacking(cls) -> list[str]:
        programs = [what for what in cls.programs if cls.program(what) is None]
        return programs + [f"lib{name}" for name in cls.libraries if find_library(name) is None]

    @abstractmethod
    def start(self) -> None:
        """Start the browser with this profile and an empty page of the usual size."""

    @abstractmethod
    def go(self, url: str) -> None:
        """Load a page and wait until it is loaded."""

    @abstractmethod
    def evaluate(self, expression: str) -> str | None:
        """What the text a page's expression promises is."""

    @abstractmethod
    def press(self, x_px: float, y_px: float) -> None:
        """Click once with a mouse."""

    @abstractmethod
    def type(self, text: str) -> None:
        """Type on a keyboard."""

    @abstractmethod
    def draw(self, points_px: Points, kind: str, *, rate_hz: float = 200.0) -> None:
        """Draw one stroke through all points with a pen, a touch or a mouse."""

    def reported(self, points_px: Points, kind: str) -> Points:
        """Where the samples of a stroke drawn through these points must be."""
        return [*points_px, points_px[-1]]

    @abstractmethod
    def screenshot(self, path: Path) -> None: ...

    @abstractmethod
    def set_size(self, width_px: int, height_px: int) -> None: ...

    @abstractmethod
    def hang_up(self) -> None:
        """Forget a connection to a browser that is gone."""

    def set_offline(self, offline: bool) -> None:
        """Cut the page off from every network, or let it back."""
        raise NotImplementedError(self.cannot["offline"])

    def open(self, url: str) -> None:
        self.go(url)
        self.js(WATCH)

    def js(self, function: str, arg: Any = None) -> Any:
        """What a function's source returns, or promises, in the page."""
        answer = self.evaluate(awaited(function, arg))
        return None if answer is None else json.loads(answer)

    def wait(self, function: str, arg: Any = None, *, limit_s: float = 15.0) -> Any:
        """Ask until the answer is neither null, false, 0 nor empty."""
        limit = time.monotonic() + limit_s
        while True:
            answer = self.js(function, arg)
            if answer:
                return answer
            if time.monotonic() > limit:
                where = self.js("() => document.body.innerText.slice(0, 400)")
                raise AssertionError(f"{self.name}: waited for {function} {arg}; shown: {where!r}")
            time.sleep(POLL_S)

    def shown(self, css: str) -> bool:
        return self.js(
            "css => [...document.querySelectorAll(css)].some(o => o.getClientRects().length)", css
        )

    def click(self, css: str) -> None:
        """Click what can be clicked, once it stands still."""
        place = self.wait(PLACE, css)
        while (again := self.wait(PLACE, css)) != place:
            place = again
        self.press(*place)

    def fill(self, css: str, text: str) -> None:
        self.click(css)
        self.js("css => document.querySelector(css).select()", css)
        self.type(text)

    def axe(self) -> list[dict[str, Any]]:
        """What axe-core finds wrong with the page as it is now."""
        source = files("axe_playwright_python").joinpath("axe.min.js").read_text()
        if not self.js("() => 'axe' in globalThis"):
            self.evaluate(f"(async () => {{ {source}\n }})()")
        return self.js(AXE)

    def kill(self) -> None:
        """End the browser without a chance to finish anything."""
        if self.process is not None:
            # It may have ended by itself.
            with contextlib.suppress(ProcessLookupError):
                os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait()
            self.process = None
        self.hang_up()

    def close(self) -> None:
        self.kill()

    def spawn(self, command: Sequence[str], **environ: str) -> None:
        """Start the browser in a process group of its own."""
        with self.log.open("wb") as out:
            self.process = subprocess.Popen(
                command,
                stdin=subprocess.DEVNULL,
                stdout=out,
                stderr=out,
                env=os.environ | environ,
                start_new_session=True,
            )

    def until(self, started: Callable[[], Any]) -> Any:
        """Ask until the browser that was spawned has started."""
        limit = time.monotonic() + STARTS_IN_S
        while not (answer := started()):
            assert self.process is not None
            if self.process.poll() is not None or time.monotonic() > limit:
                raise AssertionError(f"{self.name} did not start:\n{self.log.read_text()[-2000:]}")
            time.sleep(POLL_S)
        return answer

    def said(self, pattern: str) -> str:
        """What the browser said of itself while it started."""
        found = self.until(lambda: re.search(pattern, self.log.read_text(errors="replace")))
        return str(found[1])


def needs(kind: type[Engine], abilities: Iterable[str]) -> None:
    """Leave this scenario out, with the reason, where the engine has no door for it."""
    for ability in abilities:
        if ability in kind.cannot:
            pytest.skip(f"{kind.name}, {ability}: {kind.cannot[ability]}")


def present(kind: type[Engine]) -> None:
    """A browser that is not installed is a failure where CI=true, a reason to skip elsewhere."""
    lacking = kind.lacking()
    if not lacking:
        return
    said = f"{kind.name}: {', '.join(lacking)} not installed; `bash tests/run` installs it"
    (pytest.fail if os.environ.get("CI") == "true" else pytest.skip)(said)


def readable(violations: list[dict[str, Any]]) -> str:
    """One paragraph a violation, one line a place."""
    lines = []
    for one in violations:
        lines.append(f"{one['id']} ({one['impact']}): {one['help']}")
        lines += [f"    {node['html']}\n        {node['why']}" for node in one["nodes"]]
    return "\n".join(lines)
