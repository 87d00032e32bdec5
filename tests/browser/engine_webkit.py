"""WebKitGTK by WebDriver, on a screen that nobody sees: pen and mouse, whole pixels."""

import base64
import os
import socket
import subprocess
import sys
from pathlib import Path
from typing import Any, ClassVar

import httpx2
from engine import SIZE_PX, Engine, PageFault, Points
from engine_actions import clicked, drawn, typed

WINDOW = Path(__file__).with_name("webkit_window.py")
PATIENCE_S = 60.0
READ = """const done = arguments[0];
(EXPRESSION).then((json) => done({ json }), (error) => done({ fault: String(error) }));"""


class WebKit(Engine):
    name = "webkit"
    programs: ClassVar = {"WebKitWebDriver": ("WebKitWebDriver",), "Xvfb": ("Xvfb",)}
    libraries = ("webkit2gtk-4.1",)
    pointers = ("pen", "mouse")
    cannot: ClassVar = {
        "touch": "WebKitGTK's driver sends mouse events when touch is asked for",
        "pressure": "a pen presses 1 at the contact and 0 after it, which is no measurement",
        "offline": "WebKitGTK's driver has no way to cut the network",
    }

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        read, write = os.pipe()
        with (folder / "screen.log").open("wb") as log:
            self.screen = subprocess.Popen(
                ["Xvfb", "-displayfd", str(write), "-screen", "0", "1600x1600x24"],
                pass_fds=[write],
                stderr=log,
            )
        os.close(write)
        with os.fdopen(read) as said:
            self.display = f":{said.readline().strip()}"

    def start(self) -> None:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
        self.spawn(
            [str(self.program("WebKitWebDriver")), "-p", str(port)],
            DISPLAY=self.display,
            HOME=str(self.folder),
            GDK_BACKEND="x11",
        )
        self.driver = httpx2.Client(base_url=f"http://127.0.0.1:{port}", timeout=PATIENCE_S)
        self.until(self._answers)
        options = {"binary": sys.executable, "args": [str(WINDOW), str(self.profile)]}
        wanted = {"alwaysMatch": {"webkitgtk:browserOptions": options}}
        self.session = ""
        self.session = "/session/" + self.ask("POST", "/session", capabilities=wanted)["sessionId"]
        self.set_size(*SIZE_PX)

    def _answers(self) -> bool:
        try:
            return self.driver.get("/status").is_success
        except httpx2.TransportError:
            return False

    def hang_up(self) -> None:
        if hasattr(self, "driver"):
            self.driver.close()

    def close(self) -> None:
        super().close()
        self.screen.terminate()
        self.screen.wait()

    def ask(self, method: str, path: str, **body: Any) -> Any:
        sent = {"json": body} if method == "POST" else {}
        answer = self.driver.request(method, self.session + path, **sent)
        value = answer.json()["value"]
        if not answer.is_success:
            raise PageFault(value["error"], value["message"])
        return value

    def go(self, url: str) -> None:
        self.ask("POST", "/url", url=url)

    def evaluate(self, expression: str) -> str | None:
        script = READ.replace("EXPRESSION", expression)
        answer = self.ask("POST", "/execute/async", script=script, args=[])
        if "fault" in answer:
            raise PageFault(answer["fault"])
        return answer.get("json")

    def _act(self, actions: list[dict[str, Any]]) -> None:
        self.ask("POST", "/actions", actions=actions)
        self.ask("DELETE", "/actions")

    def press(self, x_px: float, y_px: float) -> None:
        self._act(clicked(round(x_px), round(y_px)))

    def type(self, text: str) -> None:
        self._act(typed(text))

    def draw(self, points_px: Points, kind: str, *, rate_hz: float = 200.0) -> None:
        self._act(drawn([(round(x), round(y)) for x, y in points_px], kind, rate_hz))

    def set_size(self, width_px: int, height_px: int) -> None:
        self.ask("POST", "/window/rect", x=0, y=0, width=width_px, height=height_px)
        self.wait(
            "([across, down]) => innerWidth === across && innerHeight === down",
            [width_px, height_px],
        )

    def screenshot(self, path: Path) -> None:
        path.write_bytes(base64.b64decode(self.ask("GET", "/screenshot")))
