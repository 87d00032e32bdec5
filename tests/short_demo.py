"""The demo with each child's last session only: `python -m tests.short_demo` is its `linnet`."""

from typing import Any

from server import demo, demo_files
from server.cli import main


def shortened() -> dict[str, Any]:
    """The scenario with each child's last session only."""
    scenario = demo_files.read_scenario()
    for child in scenario["children"]:
        child["sessions"] = child["sessions"][-1:]
    return scenario


if __name__ == "__main__":
    demo.read_scenario = shortened
    main()
