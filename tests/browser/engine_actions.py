"""Actions as WebDriver and WebDriver BiDi both understand them."""

from typing import Any

from engine import Points

Actions = list[dict[str, Any]]
DOWN = {"type": "pointerDown", "button": 0}
UP = {"type": "pointerUp", "button": 0}


def _move(x_px: float, y_px: float) -> dict[str, Any]:
    return {"type": "pointerMove", "x": x_px, "y": y_px, "duration": 0}


def _pointer(kind: str, actions: Actions) -> dict[str, Any]:
    return {
        "type": "pointer",
        "id": f"hand-{kind}",
        "parameters": {"pointerType": kind},
        "actions": actions,
    }


def clicked(x_px: float, y_px: float) -> Actions:
    return [_pointer("mouse", [_move(x_px, y_px), DOWN, UP])]


def typed(text: str) -> Actions:
    keys = [{"type": step, "value": one} for one in text for step in ("keyDown", "keyUp")]
    return [{"type": "key", "id": "keyboard", "actions": keys}]


def drawn(points_px: Points, kind: str, rate_hz: float) -> Actions:
    """One stroke; a pause beside every step makes the steps follow each other at that rate."""
    first, *rest = points_px
    steps = [_move(*first), DOWN, *(_move(*point) for point in rest), UP]
    beat = {"type": "pause", "duration": round(1000 / rate_hz)}
    beats = {"type": "none", "id": "beat", "actions": [beat] * len(steps)}
    return [_pointer(kind, steps), beats]
