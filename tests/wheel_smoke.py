"""Build the wheel, install it alone, and use it as its user would.

Run from a folder without the source tree, so that a file the wheel forgot is missed.
"""

import json
import os
import signal
import subprocess
import sys
import threading
import time
import urllib.request
import venv
from pathlib import Path
from tempfile import TemporaryDirectory

ROOT = Path(__file__).resolve().parents[1]
CONSTRAINTS = ROOT / "tests" / "constraints.txt"
TRIAL = ROOT / "fixtures" / "trials" / "good.json"
DEVELOPERS_ONLY = ("pytest", "hypothesis", "mypy", "playwright", "httpx2")
DEMO_STARTS_IN_S = 180.0


def said(command: list[str], folder: Path) -> str:
    """Run a command outside the source tree; return its output or stop with its errors."""
    plain = {name: text for name, text in os.environ.items() if name != "PYTHONPATH"}
    done = subprocess.run(command, cwd=folder, env=plain, capture_output=True, text=True)
    if done.returncode != 0:
        raise SystemExit(f"{' '.join(command)} ended with {done.returncode}:\n{done.stderr}")
    return done.stdout


def build(folder: Path) -> Path:
    said([sys.executable, "-m", "build", "--wheel", "--outdir", str(folder), str(ROOT)], folder)
    (wheel,) = folder.glob("linnet-*.whl")
    return wheel


def install(wheel: Path, folder: Path) -> Path:
    venv.create(folder / "alone", with_pip=True)
    programs = folder / "alone" / "bin"
    pip = [str(programs / "python"), "-m", "pip", "--disable-pip-version-check"]
    how = ("--quiet", "--no-compile", "-c", str(CONSTRAINTS))
    said([*pip, "install", *how, str(wheel)], folder)
    listed = said([*pip, "list", "--format=freeze"], folder).lower()
    present = [name for name in DEVELOPERS_ONLY if f"{name}==" in listed]
    if present:
        raise SystemExit(f"packages for development came along: {present}")
    return programs


def check_commands(programs: Path, folder: Path) -> None:
    linnet = str(programs / "linnet")
    report = json.loads(said([linnet, "score", "--json", str(TRIAL)], folder))
    share = report["measures"]["in_corridor_share"]["value"]
    if not 0.0 < share <= 1.0:
        raise SystemExit(f"a good trial has in_corridor_share {share}")
    ids = [
        json.loads(line)["id"]
        for line in said([linnet, "measures", "--json"], folder).split("\n")
        if line
    ]
    if set(report["measures"]) - set(ids):
        raise SystemExit("the report holds measures that 'linnet measures' does not list")


def fetch(url: str, wanted: str) -> None:
    with urllib.request.urlopen(url, timeout=20) as response:
        text = response.read().decode()
        if response.status != 200 or wanted not in text:
            raise SystemExit(f"{url} answered {response.status} without {wanted!r}")


def check_demo(programs: Path, folder: Path) -> float:
    """Start the demo, fetch its pages, stop it by its id; return how long the start took [s]."""
    began = time.monotonic()
    demo = subprocess.Popen(
        [str(programs / "linnet"), "demo", "--json", "--port", "0"],
        cwd=folder,
        stdout=subprocess.PIPE,
        text=True,
    )
    too_late = threading.Timer(DEMO_STARTS_IN_S, demo.kill)
    too_late.start()
    try:
        assert demo.stdout is not None
        line = demo.stdout.readline()
        if not line:
            raise SystemExit(f"the demo ended with {demo.wait(10)} before it said where it is")
        links = json.loads(line)
        took_s = time.monotonic() - began
        base = links["desk_url"].rstrip("/")
        fetch(links["desk_url"], "Linnet")
        fetch(links["tablet_url"], "<script")
        fetch(f"{base}/static/desk/desk.css", "{")
        fetch(f"{base}/tablet-worker.js", "linnet.webmanifest")
        fetch(f"{base}/static/tablet/linnet.webmanifest", "icon-512.png")
        fetch(f"{base}/healthz", "")
        fetch(f"{base}/api/schemas/linnet-trial-1", "linnet-trial/1")
        demo.send_signal(signal.SIGTERM)
        if demo.wait(30) != 0:
            raise SystemExit(f"the stopped demo ended with {demo.returncode}")
        return took_s
    finally:
        too_late.cancel()
        if demo.poll() is None:
            demo.kill()
            demo.wait(10)


def main() -> None:
    with TemporaryDirectory(prefix="linnet-wheel-") as name:
        folder = Path(name)
        wheel = build(folder)
        programs = install(wheel, folder)
        check_commands(programs, folder)
        took_s = check_demo(programs, folder)
        print(
            f"{wheel.name}: installed alone, scored a trial, demo up in {took_s:.1f} s and stopped"
        )


if __name__ == "__main__":
    main()
