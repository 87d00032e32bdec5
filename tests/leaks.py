"""Finding what must not stand in a log, a file or a database: names, secrets, samples."""

import html
import json
import logging
import re
import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from functools import wraps
from typing import Any
from urllib.parse import quote

import pytest

from server import auth, pairing
from server.demo_files import read_scenario
from server.logs import FIELDS, LOGGER, JsonLines
from tests.practice import PASSPHRASE, TELLING

SHORTEST = 3
# A field of samples, or three numbers in a row.
SAMPLES = re.compile(rb"\b(?:[xy]_mm|t_ms)\b|(?:-?\d+(?:\.\d+)?[\s,]+){2,}-?\d+(?:\.\d+)?")
# What differs from line to line, in exactly the form that our code gives it.
CHANGING = re.compile(
    rb'"at":"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}\+00:00",|"request_id":"[0-9a-f]{16}",?'
    rb'|"duration_ms":\d+\.\d,?'
)
MEMBERS = frozenset({"at", "level", "event", "request_id", "logger", "place", *FIELDS})
ACCOUNTS = ("harbour", "ferry", "lantern", "beacon", "purser")


def _forms(secret: str) -> Iterator[bytes]:
    """A text as it stands in plain words, in JSON, in an address and in a page."""
    yield from (
        form.encode()
        for form in (secret, json.dumps(secret)[1:-1], quote(secret, safe=""), html.escape(secret))
    )


def _is_word(secret: bytes, text: bytes) -> bool:
    return re.search(rb"(?<![a-z0-9])%s(?![a-z0-9])" % re.escape(secret), text) is not None


def leaks_in(text: bytes, secrets: Iterable[str]) -> list[str]:
    """Which of the secrets stand in a text: anywhere as written, or as a word in any case."""
    found, lower = [], text.lower()
    for secret in dict.fromkeys(secrets):
        if len(secret) < SHORTEST:
            raise ValueError("this would be found everywhere")
        small = secret.encode().lower()
        if any(form in text for form in _forms(secret)) or (
            small in lower and _is_word(small, lower)
        ):
            found.append(secret)
    return found


def samples_in(text: bytes) -> list[str]:
    """Where samples of a line stand in a text."""
    return [found.group().decode() for found in SAMPLES.finditer(text)]


def telling_words() -> set[str]:
    """Everything that says who somebody is, in the invented practice and in the demo."""
    scenario = read_scenario()
    words = {*TELLING, PASSPHRASE, *ACCOUNTS}
    for child in scenario["children"]:
        words |= {child["code"], child["nickname"], child["sign"], child["birth_month"]}
        words |= {session["place"] for session in child["sessions"]}
    for account in scenario["accounts"]:
        words |= {account["name"], account["passphrase"]}
    return words


class Watch(logging.Handler):
    """Keeps what a server would write to its log, each line once, and the secrets of the run."""

    def __init__(self) -> None:
        super().__init__(logging.DEBUG)
        self.setFormatter(JsonLines())
        self.lines: set[bytes] = set()
        self.handed_out: set[str] = set()

    def emit(self, record: logging.LogRecord) -> None:
        self.lines.add(CHANGING.sub(b"", self.format(record).encode()))

    def handleError(self, record: logging.LogRecord) -> None:
        raise AssertionError("a record could not be written")

    def findings(self) -> list[str]:
        """What is wrong with the lines, each finding with the line it stands in."""
        secrets = telling_words() | self.handed_out
        # All at once first: thousands of secrets take long to look for in every line.
        present = leaks_in(b"\n".join(self.lines), secrets)
        return [
            f"{what} in {line.decode()}"
            for line in sorted(self.lines)
            for what in [*leaks_in(line, present), *samples_in(line), *_other_members(line)]
        ]


def _other_members(line: bytes) -> list[str]:
    # Without its first members a line may begin, and end, with a comma too many.
    tree = json.loads(line.replace(b",}", b"}"))
    return [f"member {name}" for name in tree if name not in MEMBERS]


def _replace(patch: pytest.MonkeyPatch, old: Any, new: Any) -> None:
    """Put a function in the place of another, wherever our modules hold it."""
    for name, module in list(sys.modules.items()):
        if name.startswith("server."):
            for attribute, value in list(vars(module).items()):
                if value is old:
                    patch.setattr(module, attribute, new)


def _overheard(function: Callable[..., Any], hear: Callable[[Any], None]) -> Callable[..., Any]:
    @wraps(function)
    def overheard(*args: Any, **named: Any) -> Any:
        result = function(*args, **named)
        hear(result)
        return result

    return overheard


@contextmanager
def watched() -> Iterator[Watch]:
    """Watch everything logged in between, down to the level of debugging; fail on a leak."""
    watch, logger = Watch(), logging.getLogger(LOGGER)
    with pytest.MonkeyPatch.context() as patch:
        secret = _overheard(auth.new_secret, watch.handed_out.add)
        code = _overheard(pairing.make_code, lambda made: watch.handed_out.add(made[0]))
        _replace(patch, auth.new_secret, secret)
        _replace(patch, pairing.make_code, code)
        logging.getLogger().addHandler(watch)
        logger.setLevel(logging.DEBUG)
        try:
            yield watch
            # A leak of our own shows that this check still sees and hears everything.
            planted = auth.new_secret()
            logger.debug(planted)
            assert pairing.make_code is code
        finally:
            logging.getLogger().removeHandler(watch)
            logger.setLevel(logging.NOTSET)
    findings = watch.findings()
    seen = [one for one in findings if one.startswith(planted)]
    assert len(seen) == 1, "what the servers of this run logged was not all seen"
    told = [one for one in findings if one not in seen]
    assert not told, "the log tells too much:\n" + "\n".join(told[:20])
