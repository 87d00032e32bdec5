"""What a running server writes to its error output: faults, without anybody's data."""

import logging
import traceback
from types import TracebackType
from typing import Any

ExceptionInfo = (
    tuple[type[BaseException], BaseException, TracebackType | None] | tuple[None, None, None]
)


class KindsOnly(logging.Formatter):
    """Writes where an error came from and of which kind it is, never its text.

    The text of an error may quote a row of the database or a document, and with it what a
    child is called.
    """

    def formatException(self, ei: ExceptionInfo) -> str:
        """Return file, line and function of every frame, then the kind of the error."""
        kind, error, _ = ei
        if kind is None or error is None:
            return ""
        lines = []
        seen: BaseException | None = error
        while seen is not None:
            lines += [*traceback.format_tb(seen.__traceback__), f"{type(seen).__name__}\n"]
            seen = seen.__cause__
        return "".join(lines).rstrip()


def log_settings() -> dict[str, Any]:
    """Return the logging configuration of a server: warnings and worse, no requests."""
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "formatters": {
            "kinds": {"()": KindsOnly, "format": "%(asctime)s %(levelname)s %(message)s"}
        },
        "handlers": {
            "errors": {
                "class": "logging.StreamHandler",
                "formatter": "kinds",
                "stream": "ext://sys.stderr",
            }
        },
        "root": {"handlers": ["errors"], "level": "WARNING"},
    }
