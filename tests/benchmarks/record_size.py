"""What every page of the desk costs in a record of 1,000 and of 100,000 trials.

Run: ``python -m tests.benchmarks.record_size``. Both databases hold the same 14 children of
one account, with 840 trials; the rest belongs to others. The two are asked in turn, so that
a slow moment of the machine slows both.
"""

import re
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory

from fastapi.testclient import TestClient

from server.app import create_app
from tests.benchmarks.record_filling import CARER, NOW, SUPERVISOR, TRIALS, fill, settings_of
from tests.practice import ORIGIN, PASSPHRASE

SMALL, LARGE = 1_000, 100_000
REPEATS = 30
MOST_RATIO = 2.0
"""The large record may cost this much more."""
TREND = "/api/children/{child}/trend?measure=deviation_mean_abs"
ADDRESSES = (
    TREND,
    "/api/children",
    "/caseload",
    "/run-sheet",
    "/tablets",
    "/queue",
    "/children/{child}",
    "/children/{child}/then-and-now",
    "/sessions/{session}",
    "/sessions/{session}/note",
    "/sessions/{session}/family",
    "/trials/{trial}",
)
OF_SUPERVISOR, ABOVE = ("/queue", "/caseload"), ", its supervisor"
"""Asked by the account's supervisor too: the notes of three weeks wait there."""
FEW_SESSIONS, MANY_SESSIONS = 100 // TRIALS, 1_000 // TRIALS

Place = dict[str, str]
"""A child, one of its sessions and one of its trials."""
Desk = tuple[TestClient, list[Place]]


@contextmanager
def desk(path: Path, children: list[str], name: str = CARER) -> Iterator[Desk]:
    """A browser of the measured account, or of its supervisor."""
    app = create_app(settings_of(path), lambda: NOW)
    with TestClient(app, headers=ORIGIN) as client:
        signed = client.post("/api/sign-in", json={"name": name, "passphrase": PASSPHRASE})
        if signed.status_code != 200:
            raise RuntimeError("the account of the benchmark cannot sign in")
        yield client, [place_of(client, child) for child in children]


def place_of(client: TestClient, child: str) -> Place:
    """The child, and the first session and trial that links of its page lead to."""
    found = {"child": child}
    page = client.get(f"/children/{child}").text
    for kind in ("session", "trial"):
        link = re.search(rf'href="/{kind}s/([0-9a-f-]{{36}})[#"]', page)
        if link is None:
            raise RuntimeError(f"the page of a child has no link to a {kind}")
        found[kind] = link[1]
    return found


def took_s(client: TestClient, address: str) -> float:
    """How long one answer takes. [s]"""
    start = time.perf_counter()
    answer = client.get(address)
    took = time.perf_counter() - start
    if answer.status_code != 200:
        raise RuntimeError(f"answered {answer.status_code}")
    return took


def medians_s(desks: list[Desk], template: str, repeats: int) -> list[float]:
    """Median time of an answer of each database, asked in turn, child after child. [s]"""
    times: list[list[float]] = [[] for _ in desks]
    # One round more than is counted: the first answer loads the analysis.
    for number in range(-1, repeats):
        for kept, (client, places) in zip(times, desks, strict=True):
            took = took_s(client, template.format(**places[number % len(places)]))
            if number >= 0:
                kept.append(took)
    return [median(kept) for kept in times]


def ratios(
    folder: Path,
    small: int,
    large: int,
    repeats: int,
    say: Callable[[str], None] = print,
) -> dict[str, float]:
    """Fill two databases, ask both, print a table.

    Returns
    -------
    dict of str to float
        How much longer the large one takes, by address. [1]
    """
    paths = [folder / "small.sqlite3", folder / "large.sqlite3"]
    children = []
    for path, count in zip(paths, (small, large), strict=True):
        start = time.perf_counter()
        children.append(fill(path, count))
        spent = time.perf_counter() - start
        say(f"{count} trials: {path.stat().st_size / 1e6:.0f} MB, filled in {spent:.0f} s")
    found = {}
    say(f"{'median of ' + str(repeats):<58}{small:>9}{large:>9}{'ratio':>7}")
    for who, addresses, beside in ((CARER, ADDRESSES, ""), (SUPERVISOR, OF_SUPERVISOR, ABOVE)):
        with (
            desk(paths[0], children[0], who) as first,
            desk(paths[1], children[1], who) as second,
        ):
            for address in addresses:
                small_s, large_s = medians_s([first, second], address, repeats)
                found[address + beside] = ratio = large_s / small_s
                line = f"{1e3 * small_s:>6.1f} ms{1e3 * large_s:>6.1f} ms{ratio:>7.2f}"
                say(f"GET {address + beside:<54}{line}")
    return found


def one_child(
    folder: Path, sessions: tuple[int, int], repeats: int, say: Callable[[str], None] = print
) -> None:
    """Print what the trend of a child costs with few and with many sessions."""
    path = folder / "one.sqlite3"
    few, many = fill(path, 0, sessions=list(sessions))
    with desk(path, [few, many]) as (client, places):
        times = medians_s([(client, [one]) for one in places], TREND, repeats)
    few_ms, many_ms = (1e3 * one for one in times)
    few_trials, many_trials = (TRIALS * one for one in sessions)
    say(
        f"trend of one child: {few_trials} trials {few_ms:.1f} ms, {many_trials} trials "
        f"{many_ms:.1f} ms (for information)"
    )


def main() -> None:
    """Measure, and end with 1 if the large record costs too much more."""
    with TemporaryDirectory(prefix="linnet-") as name:
        found = ratios(Path(name), SMALL, LARGE, REPEATS)
        one_child(Path(name), (FEW_SESSIONS, MANY_SESSIONS), REPEATS)
    worst = max(found.values())
    print(f"largest ratio {worst:.2f} (below {MOST_RATIO:g} is wanted)")
    if worst >= MOST_RATIO:
        raise SystemExit(1)


if __name__ == "__main__":
    main()
