"""What a running server writes to its error output: one JSON object a line, nobody's data."""

import errno
import logging
import logging.config
from contextvars import ContextVar
from datetime import UTC, datetime
from pathlib import Path
from types import FrameType
from typing import Any

import orjson

LOGGER = "linnet"
LEVELS = ("info", "warning")
LIBRARY_EVENT = "message of a library"
# Members beyond those of every line. What is not in this list is not written.
FIELDS = ("method", "route", "status", "duration_ms", "trial_id", "cut_id", "errors")
# An error in a loop of calls has a thousand places; the last ones tell where it happened.
MOST_FRAMES = 40
MOST_CAUSES = 8

# Every line written while a request is answered carries its id, from other threads too.
request_id: ContextVar[str | None] = ContextVar("request_id", default=None)


def told(error: BaseException) -> dict[str, Any]:
    """Return what the log may know of an error: kinds and places, never its text.

    The text of an error may quote a row of the database or a document, and with it what a
    child is called.

    Parameters
    ----------
    error : BaseException
        As it was caught.

    Returns
    -------
    dict
        For the `extra` of a log call. ``errors`` holds the error and then its causes; each
        with its ``kind``, a ``code`` of the system or of SQLite or None, and ``frames``
        (module:line:function, the outermost first).
    """
    chain: list[BaseException] = []
    seen: BaseException | None = error
    while seen is not None and seen not in chain and len(chain) < MOST_CAUSES:
        chain.append(seen)
        seen = seen.__cause__ or (None if seen.__suppress_context__ else seen.__context__)
    return {
        "errors": [
            {"kind": type(one).__name__, "code": _code(one), "frames": _frames(one)}
            for one in chain
        ]
    }


def _code(error: BaseException) -> str | None:
    """Return a word of a fixed list, such as ENOSPC or SQLITE_FULL."""
    if isinstance(error, OSError) and error.errno is not None:
        return errno.errorcode.get(error.errno)
    return getattr(error, "sqlite_errorname", None)


def _frames(error: BaseException) -> list[str]:
    frames = []
    at = error.__traceback__
    while at is not None:
        frames.append(_place(at.tb_frame, at.tb_lineno))
        at = at.tb_next
    return frames[-MOST_FRAMES:]


def _place(frame: FrameType, line: int) -> str:
    # The name of the module, not the path of its file: that may hold the name of a person.
    # A template has no module; the name of its file is ours.
    code = frame.f_code
    module = frame.f_globals.get("__name__") or Path(code.co_filename).name
    return f"{module}:{line}:{code.co_name}"


class JsonLines(logging.Formatter):
    """Writes a record as one JSON object, made only of what is known to hold nobody's data.

    Of our own records that is the fixed event and the members in `FIELDS`. The words of
    libraries may quote what they were given, so only the place that wrote them is kept.
    """

    def format(self, record: logging.LogRecord) -> str:
        """Return the line, without its end."""
        line: dict[str, Any] = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "event": LIBRARY_EVENT,
            "request_id": request_id.get(),
        }
        if record.exc_info and record.exc_info[1] is not None:
            line |= told(record.exc_info[1])
        if record.name == LOGGER:
            # The event as it stands in the code: arguments are never put into it.
            line["event"] = record.msg
            line |= {name: vars(record)[name] for name in FIELDS if name in vars(record)}
        else:
            line["logger"] = record.name
            line["place"] = f"{record.module}:{record.lineno}:{record.funcName}"
        return orjson.dumps(line).decode()


def start_logging(level: str) -> None:
    """Let this process write its log to the error output.

    Parameters
    ----------
    level : str
        ``info`` for every request and every fault, ``warning`` for faults only. Libraries
        write warnings and worse either way.
    """
    logging.config.dictConfig(
        {
            "version": 1,
            "disable_existing_loggers": False,
            "formatters": {"json": {"()": JsonLines}},
            "handlers": {
                "errors": {
                    "class": "logging.StreamHandler",
                    "formatter": "json",
                    "stream": "ext://sys.stderr",
                }
            },
            "root": {"handlers": ["errors"], "level": "WARNING"},
            "loggers": {LOGGER: {"level": level.upper()}},
        }
    )
    # Both would go past the formatter: the text of a warning, and a record that cannot be
    # written, which is printed with what it was given.
    logging.captureWarnings(True)
    logging.raiseExceptions = False
