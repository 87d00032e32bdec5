"""Trend."""


def trend_figure() -> None:
    """Stub."""
