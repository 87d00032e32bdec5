"""A page that draws the line of a pen and does nothing else, to compare the tablet page with."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

from tests.benchmarks.tablet_harbour import INK_MM, PX_PER_MM

# The line of every sample and nothing else, on a canvas like the page's own. The canvas must
# not be the target of the pointer: Chromium sends moves to a desynchronized one at once,
# to anything else once a frame, and both pages have to be served alike.
BARE = """<!doctype html><meta charset="utf-8"><title>line</title>
<style>
  html, body { margin: 0 }
  #draw { position: fixed; inset: 0; touch-action: none }
  canvas { position: absolute; inset: 0; width: 100%; height: 100%; pointer-events: none }
</style>
<div id="draw"><canvas id="ink"></canvas></div>
<script type="module">
const surface = document.getElementById("draw");
const canvas = document.getElementById("ink");
canvas.width = Math.round(innerWidth * devicePixelRatio);
canvas.height = Math.round(innerHeight * devicePixelRatio);
const context = canvas.getContext("2d", { desynchronized: true });
context.scale(devicePixelRatio, devicePixelRatio);
context.lineCap = context.lineJoin = "round";
context.lineWidth = WIDTH_PX;
context.strokeStyle = "#223A5E";
let down = false, x = 0, y = 0;
surface.addEventListener("pointerdown", (event) => {
  down = true;
  x = event.clientX;
  y = event.clientY;
});
surface.addEventListener("pointermove", (event) => {
  if (!down) return;
  context.beginPath();
  context.moveTo(x, y);
  for (const sample of event.getCoalescedEvents()) {
    x = sample.clientX;
    y = sample.clientY;
    context.lineTo(x, y);
  }
  context.stroke();
  // MORE
});
surface.addEventListener("pointerup", () => { down = false; });
</script>"""


def _handler(page: bytes) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(200)
            self.send_header("Content-Type", "text/html; charset=utf-8")
            self.end_headers()
            self.wfile.write(page)

        def log_message(self, *_: object) -> None:
            """Say nothing."""

    return Handler


@contextmanager
def bare_page(more: str = "") -> Iterator[str]:
    """Address of the bare page while it is served; `more` is put into every move.

    It is served because a page that is merely set into a blank one runs far slower.
    """
    page = BARE.replace("WIDTH_PX", str(INK_MM * PX_PER_MM)).replace("// MORE", more)
    with ThreadingHTTPServer(("127.0.0.1", 0), _handler(page.encode())) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        try:
            yield f"http://127.0.0.1:{server.server_port}/"
        finally:
            server.shutdown()
