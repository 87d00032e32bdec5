"""What rate, noise, coarse positions and lost reports do to every measure.

Run: ``python -m tests.benchmarks.robustness [attempts] [--keep]``. The same movements
(`tests.simulated`) are sampled as different tablets would; the truth of each is its value
at 240 Hz without noise. For each measure and condition: bias (mean difference from the
truth), spread (standard deviation of the difference) and share refused where the truth
is not. Cut edges (`tests.simulated_cuts`) likewise. A measure is flagged where its value at
60 Hz spreads about the one at 240 Hz by more than 5 % of its range over the children of the
demo. ``--keep`` writes `fixtures/reference/robustness.json`.
"""

import json
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass
from multiprocessing import Pool
from pathlib import Path

import numpy as np

from analysis.cut_workings import CutWorkings
from analysis.registry import MEASURES, measure_all, measure_cut
from analysis.value import Value
from analysis.workings import Workings
from server.demo_files import read_trials
from server.documents import trial_of
from tests.benchmarks.robustness_table import show
from tests.simulated import KINDS, Sampling, attempt, sampled
from tests.simulated_cuts import Digitising, digitised

KEPT = Path(__file__).parents[2] / "fixtures" / "reference" / "robustness.json"
ATTEMPTS, CUTS, PROCESSES = 200, 60, 2
FIRST, FIRST_CUTS = (0, 1, 2, 3, 4, 5, 6, 7, 14, 24), (0, 1, 2)
"""Whose single values are kept, for the test: every mode and a guide with corners."""
RATES_HZ, NOISES_MM, USUAL_MM = (240, 120, 60), (0.0, 0.02, 0.1), 0.02
LIMIT = 0.05
"""Spread allowed, as a share of the range over the demo's children. [1]"""

CONDITIONS: dict[str, Sampling] = {
    **{f"{r} Hz, {n:g} mm": Sampling(r, n) for n in NOISES_MM for r in RATES_HZ},
    **{f"{r} Hz, pixels": Sampling(r, USUAL_MM, step_mm=0.26) for r in RATES_HZ},
    **{f"{r} Hz, 1/5 lost": Sampling(r, USUAL_MM, lost_share=0.2) for r in RATES_HZ},
}
CUT_CONDITIONS: dict[str, Digitising] = {
    "0.25 mm apart": Digitising(),
    **{f"{x:g} mm apart": Digitising(spacing_mm=x) for x in (1.0, 2.0, 4.0)},
    **{f"1 mm, noise {n:g} mm": Digitising(spacing_mm=1.0, noise_mm=n) for n in (0.1, 0.3)},
    **{f"1 mm, pixel {n:g} mm": Digitising(spacing_mm=1.0, step_mm=n) for n in (0.13, 0.26)},
}
TRUTH, CUT_TRUTH = next(iter(CONDITIONS)), next(iter(CUT_CONDITIONS))
JUDGED = ("0 mm", "0.02 mm")
"""Noises at which the value at 60 Hz is held against the one at 240 Hz."""
GROUPS: dict[str, tuple[str, ...]] = {
    "line": ("bridge", "square", "circle", "zigzag", "eight", "line", "cut"),
    "dots": ("tap", "join"),
    "two hands": ("both",),
}
"""Kinds of attempt that are judged together: the demo's children only trace lines."""
CEILING = 0.05
"""Where the 5th to 95th percentile is less of all values than this, most of them stand at
one end of the scale, and all values are the range. [1]"""

ONE_EVENT = "an event at a threshold comes or goes in a few attempts, at any rate and noise"
EXCUSED: dict[tuple[str, str], str] = {
    ("line", "pause_count"): ONE_EVENT + ": rests of about 0.2 s",
    ("line", "midline_pause_count"): ONE_EVENT + ": rests of about 0.2 s, or at the zone's edge",
    ("line", "snip_length_median"): ONE_EVENT + ": a rest parts one run in two",
    ("line", "completion"): ONE_EVENT + ": a corner cut by about 10 mm is covered or skipped",
    ("dots", "completion"): ONE_EVENT + ": a dot passed at its radius",
    ("dots", "hit_share"): ONE_EVENT + ": a dot passed at its radius",
    ("dots", "miss_count"): ONE_EVENT + ": a dot passed at its radius",
    ("dots", "pressure_peaks_per_s"): ONE_EVENT + ": a rise of about 0.05",
    ("line", "snip_count"): ONE_EVENT + ": a rest parts one run in two",
}
"""Measures over the limit that are neither mended nor refused, and why."""

Outcome = float | str
Table = dict[str, dict[str, Outcome]]


def outcomes(values: Mapping[str, Value]) -> dict[str, Outcome]:
    """Numbers to nine digits, or reasons, by measure."""
    return {
        name: float(f"{value.number:.9g}") if value.number is not None else str(value.reason)
        for name, value in values.items()
    }


def of_attempt(number: int) -> Table:
    """All outcomes of one movement, by condition and measure."""
    made = attempt(number)
    return {
        name: outcomes(measure_all(Workings(sampled(made, how))))
        for name, how in CONDITIONS.items()
    }


def of_cut(number: int) -> Table:
    """All outcomes of one cut piece, by condition and measure."""
    return {
        name: outcomes(measure_cut(CutWorkings(digitised(number, how))))
        for name, how in CUT_CONDITIONS.items()
    }


def of_demo(tree: dict[str, object]) -> dict[str, Outcome]:
    """All outcomes of one trial of the demo."""
    return outcomes(measure_all(Workings(trial_of(tree).to_trial())))


@dataclass(frozen=True)
class Effect:
    """What one condition does to one measure."""

    bias: float
    spread: float
    count: int
    refused_share: float


@dataclass(frozen=True)
class Extent:
    """Range of a measure: 5th to 95th percentile, least, greatest, and over what."""

    p05: float
    p95: float
    least: float
    greatest: float
    over: str

    @property
    def range(self) -> float:
        """5th to 95th percentile; all values where most stand at one end."""
        whole, inner = self.greatest - self.least, self.p95 - self.p05
        return inner if inner >= CEILING * whole else whole


def extent(
    name: str, demo: Sequence[Mapping[str, Outcome]], made: Sequence[Mapping[str, Outcome]]
) -> Extent | None:
    """Range over the demo's children, or over the simulated attempts where they have none."""
    for over, rows in (("demo", demo), ("simulated", made)):
        numbers = [x for row in rows if isinstance(x := row.get(name), float)]
        if len(numbers) >= 10 and np.ptp(numbers) > 0:
            p05, p95 = np.quantile(numbers, [0.05, 0.95]).tolist()
            return Extent(p05, p95, min(numbers), max(numbers), over)
    return None


def effect(name: str, tables: Sequence[Table], condition: str, truth: str) -> Effect | None:
    """Bias, spread and share refused of one measure in one condition."""
    pairs = [(t[condition].get(name), t[truth].get(name)) for t in tables]
    known = [(x, true) for x, true in pairs if isinstance(true, float)]
    if not known:
        return None
    off = np.array([x - true for x, true in known if isinstance(x, float)])
    refused_share = 1.0 - len(off) / len(known)
    if len(off) == 0:
        return Effect(0.0, 0.0, 0, refused_share)
    return Effect(float(off.mean()), float(off.std()), len(off), refused_share)


def between(name: str, tables: Sequence[Table]) -> list[float]:
    """Spread of the value at 60 Hz about the one at 240 Hz, for each noise of `JUDGED`."""
    found = (effect(name, tables, f"60 Hz, {n}", f"240 Hz, {n}") for n in JUDGED)
    return [one.spread if one is not None else 0.0 for one in found]


def changed_share(name: str, tables: Sequence[Table]) -> float:
    """Share of attempts whose value is not the same at 60 and 240 Hz, with 0.02 mm. [1]"""
    pairs = [(t[f"60 Hz, {JUDGED[-1]}"], t[f"240 Hz, {JUDGED[-1]}"]) for t in tables]
    same = [a[name] == b[name] for a, b in pairs if name in a]
    return 1.0 - float(np.mean(same)) if same else 0.0


def summary(
    tables: Sequence[Table],
    truth: str,
    demo: Sequence[Mapping[str, Outcome]] = (),
    *,
    judged: bool = False,
) -> dict[str, dict[str, object]]:
    """By measure: range, effect of every condition, and if judged what 60 Hz does to it."""
    found: dict[str, dict[str, object]] = {}
    for entry in MEASURES:
        effects = {
            condition: one
            for condition in tables[0]
            if (one := effect(entry.id, tables, condition, truth)) is not None
        }
        if not effects:
            continue
        over = extent(entry.id, demo, [table[truth] for table in tables])
        found[entry.id] = {
            "unit": entry.unit,
            "range": None if over is None else asdict(over) | {"range": over.range},
            "effects": {name: asdict(one) for name, one in effects.items()},
        }
        if judged and over is not None:
            share = max(between(entry.id, tables)) / over.range
            found[entry.id] |= {
                "spread_share": share,
                "changed_share": changed_share(entry.id, tables),
                "flagged": share > LIMIT,
                "kept_because": "",
            }
    return found


def _all(work: Callable[[int], Table], count: int) -> list[Table]:
    with Pool(PROCESSES) as pool:
        return pool.map(work, range(count), chunksize=1)


def _rounded(tree: object) -> object:
    if isinstance(tree, float):
        return float(f"{tree:.5g}")
    if isinstance(tree, dict):
        return {key: _rounded(value) for key, value in tree.items()}
    return tree


def main() -> None:
    """Print the tables, and keep them if asked to."""
    given = [int(word) for word in sys.argv[1:] if word.isdigit()]
    count = given[0] if given else ATTEMPTS
    began = time.perf_counter()
    with Pool(PROCESSES) as pool:
        demo = pool.map(of_demo, list(read_trials().values()), chunksize=8)
    tables, cuts = _all(of_attempt, count), _all(of_cut, min(CUTS, count))
    trials = {}
    for group, kinds in GROUPS.items():
        mine = [table for k, table in enumerate(tables) if KINDS[k % len(KINDS)] in kinds]
        trials[group] = summary(mine, TRUTH, demo if group == "line" else (), judged=True)
        for name, one in trials[group].items():
            if one.get("flagged"):
                one["kept_because"] = EXCUSED.get((group, name), "")
        show(f"{group}: {len(mine)} attempts against their values at {TRUTH}", trials[group])
    edges = summary(cuts, CUT_TRUTH)
    show(f"{len(cuts)} cut edges against their values with vertices {CUT_TRUTH}", edges)
    print(f"\n{time.perf_counter() - began:.0f} s on {PROCESSES} processes")
    if "--keep" not in sys.argv:
        return
    kept = {
        "source": (
            "Linnet's own output [N], of simulated attempts and the invented demo: "
            f"python -m tests.benchmarks.robustness {count} --keep; "
            "guards against change, proves nothing"
        ),
        "attempts": count,
        "cuts": len(cuts),
        "limit": LIMIT,
        "trial": _rounded(trials),
        "cut": _rounded(edges),
        "first": {str(k): tables[k] for k in FIRST if k < count},
        "first_cuts": {str(k): cuts[k] for k in FIRST_CUTS if k < len(cuts)},
    }
    KEPT.parent.mkdir(exist_ok=True)
    KEPT.write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
