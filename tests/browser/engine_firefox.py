"""Firefox by WebDriver BiDi: mouse and touch."""

import base64
import json
from pathlib import Path
from typing import Any, ClassVar

from engine import SIZE_PX, Engine, PageFault, Points
from engine_actions import clicked, drawn, typed
from engine_wire import Wire

# The browser asks its makers for nothing.
PREFERENCES: dict[str, bool | str] = {
    "app.normandy.enabled": False,
    "app.update.disabledForTesting": True,
    "datareporting.policy.dataSubmissionEnabled": False,
    "network.captive-portal-service.enabled": False,
    "network.connectivity-service.enabled": False,
    "services.settings.server": "http://127.0.0.1:1",
}


class Firefox(Engine):
    name = "firefox"
    programs: ClassVar = {"firefox": ("firefox-esr", "firefox")}
    pointers = ("touch", "mouse")
    cannot: ClassVar = {"pen": "WebDriver BiDi of Firefox has no pen (unimplemented pointerMove)"}

    def start(self) -> None:
        lines = (f"user_pref({json.dumps(k)}, {json.dumps(v)});\n" for k, v in PREFERENCES.items())
        (self.profile / "user.js").write_text("".join(lines))
        self.spawn(
            [
                str(self.program("firefox")),
                "--headless",
                "--no-remote",
                "--profile",
                str(self.profile),
                "--remote-debugging-port=0",
            ]
        )
        url = self.said(r"WebDriver BiDi listening on (ws://\S+)")
        self.wire = Wire(f"{url}/session")
        self.wire.call("session.new", capabilities={})
        tree = self.wire.call("browsingContext.getTree")
        self.context = tree["contexts"][0]["context"]
        self.set_size(*SIZE_PX)

    def hang_up(self) -> None:
        if hasattr(self, "wire"):
            self.wire.close()

    def go(self, url: str) -> None:
        self.wire.call("browsingContext.navigate", context=self.context, url=url, wait="complete")

    def evaluate(self, expression: str) -> str | None:
        answer = self.wire.call(
            "script.evaluate",
            expression=expression,
            target={"context": self.context},
            awaitPromise=True,
        )
        if answer["type"] != "success":
            raise PageFault(json.dumps(answer["exceptionDetails"])[:2000])
        return answer["result"].get("value")

    def _act(self, actions: list[dict[str, Any]]) -> None:
        self.wire.call("input.performActions", context=self.context, actions=actions)
        self.wire.call("input.releaseActions", context=self.context)

    def press(self, x_px: float, y_px: float) -> None:
        self._act(clicked(x_px, y_px))

    def type(self, text: str) -> None:
        self._act(typed(text))

    def draw(self, points_px: Points, kind: str, *, rate_hz: float = 200.0) -> None:
        self._act(drawn(points_px, kind, rate_hz))

    def set_size(self, width_px: int, height_px: int) -> None:
        self.wire.call(
            "browsingContext.setViewport",
            context=self.context,
            viewport={"width": width_px, "height": height_px},
        )

    def set_offline(self, offline: bool) -> None:
        self.wire.call(
            "emulation.setNetworkConditions",
            networkConditions={"type": "offline"} if offline else None,
            contexts=[self.context],
        )

    def screenshot(self, path: Path) -> None:
        shot = self.wire.call("browsingContext.captureScreenshot", context=self.context)
        path.write_bytes(base64.b64decode(shot["data"]))
