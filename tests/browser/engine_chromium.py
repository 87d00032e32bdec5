"""Chromium by its own protocol (CDP): pen, touch and mouse, with times that can be set."""

import base64
import json
import time
from pathlib import Path
from typing import Any, ClassVar
from urllib.request import urlopen

from engine import SIZE_PX, Engine, PageFault, Points
from engine_wire import Wire
from tab import FLAGS

PRESSED = {"button": "left", "buttons": 1, "clickCount": 1}
LIFTED = {"button": "left", "buttons": 0, "clickCount": 1}
MOUSE = {"down": "Pressed", "move": "Moved", "up": "Released"}
TOUCH = {"down": "touchStart", "move": "touchMove", "up": "touchEnd"}
PEN = {"pointerType": "pen", "tiltX": 12, "tiltY": -30}


class Chromium(Engine):
    name = "chromium"
    programs: ClassVar = {"chromium": ("chromium", "chromium-browser")}
    pointers = ("pen", "touch", "mouse")
    whole_px = False
    sets_times = True

    def start(self) -> None:
        self.spawn(
            [
                str(self.program("chromium")),
                *FLAGS,
                "--remote-debugging-port=0",
                "--touch-events=enabled",
                f"--user-data-dir={self.profile}",
                "about:blank",
            ]
        )
        port = self.said(r"DevTools listening on ws://127\.0\.0\.1:(\d+)/")
        with urlopen(f"http://127.0.0.1:{port}/json/list") as answer:
            pages = [one for one in json.load(answer) if one["type"] == "page"]
        self.wire = Wire(pages[0]["webSocketDebuggerUrl"])
        self.wire.call("Page.enable")
        self.set_size(*SIZE_PX)
        self.wire.call("Emulation.setTouchEmulationEnabled", enabled=True, maxTouchPoints=5)

    def hang_up(self) -> None:
        if hasattr(self, "wire"):
            self.wire.close()

    def go(self, url: str) -> None:
        self.evaluate("globalThis.gone = 'here'")
        answer = self.wire.call("Page.navigate", url=url)
        if "errorText" in answer:
            raise PageFault(answer["errorText"])
        self.wait("() => globalThis.gone !== 'here' && document.readyState === 'complete'")

    def evaluate(self, expression: str) -> str | None:
        answer = self.wire.call(
            "Runtime.evaluate", expression=expression, awaitPromise=True, returnByValue=True
        )
        if "exceptionDetails" in answer:
            raise PageFault(json.dumps(answer["exceptionDetails"])[:2000])
        return answer["result"].get("value")

    def mouse(self, kind: str, x: float, y: float, **more: Any) -> int:
        return self.wire.send("Input.dispatchMouseEvent", type=f"mouse{kind}", x=x, y=y, **more)

    def press(self, x_px: float, y_px: float) -> None:
        sent = [
            self.mouse("Moved", x_px, y_px, button="none", buttons=0),
            self.mouse("Pressed", x_px, y_px, **PRESSED),
            self.mouse("Released", x_px, y_px, **LIFTED),
        ]
        for number in sent:
            self.wire.answer(number)

    def type(self, text: str) -> None:
        self.wire.call("Input.insertText", text=text)

    def draw(self, points_px: Points, kind: str, *, rate_hz: float = 200.0) -> None:
        start_s = self.js("() => performance.timeOrigin + performance.now()") / 1000
        from_s = time.monotonic()
        last = len(points_px) - 1
        sent = []
        for i, (x, y) in enumerate(points_px):
            # Sent when it is due, and not waited for: as many to a frame as a real pen gives.
            time.sleep(max(0.0, from_s + i / rate_hz - time.monotonic()))
            step = "down" if i == 0 else "up" if i == last else "move"
            at = {"timestamp": start_s + i / rate_hz}
            sent.append(
                self._touch(step, x, y, at) if kind == "touch" else self._tip(step, kind, x, y, at)
            )
        for number in sent:
            self.wire.answer(number)

    def reported(self, points_px: Points, kind: str) -> Points:
        # A finger lifts where it was: its last event has no place of its own.
        return [*points_px[:-1], points_px[-2]] if kind == "touch" else points_px

    def _tip(self, step: str, kind: str, x: float, y: float, at: dict[str, float]) -> int:
        held = LIFTED if step == "up" else PRESSED
        pen = PEN | {"force": 0.0 if step == "up" else 0.4} if kind == "pen" else {}
        return self.mouse(MOUSE[step], x, y, **held, **pen, **at)

    def _touch(self, step: str, x: float, y: float, at: dict[str, float]) -> int:
        points = [] if step == "up" else [{"id": 0, "x": x, "y": y}]
        return self.wire.send(
            "Input.dispatchTouchEvent", type=TOUCH[step], touchPoints=points, **at
        )

    def set_size(self, width_px: int, height_px: int) -> None:
        self.wire.call(
            "Emulation.setDeviceMetricsOverride",
            width=width_px,
            height=height_px,
            deviceScaleFactor=1,
            mobile=False,
        )

    def set_offline(self, offline: bool) -> None:
        self.wire.call("Network.enable")
        self.wire.call(
            "Network.emulateNetworkConditions",
            offline=offline,
            latency=0,
            downloadThroughput=-1,
            uploadThroughput=-1,
        )

    def screenshot(self, path: Path) -> None:
        path.write_bytes(base64.b64decode(self.wire.call("Page.captureScreenshot")["data"]))
