"""Where the alignment breaks: wrong lobes against offset, speed and noise.

Run: ``python -m tests.benchmarks.alignment_limits [traces per point] [--keep]``. A trace
is wrong if more than 1 % of its samples are placed more than 10 mm off along the guide.
Beside ours stand two plainer ways (`tests.benchmarks.plain_matching`). ``--keep`` writes
`fixtures/reference/alignment_limits.json`.
"""

import json
import sys
import time
from multiprocessing import Pool
from pathlib import Path

import numpy as np
from scipy.ndimage import minimum_filter1d, uniform_filter1d

from analysis.alignment import align
from analysis.guide import Guide
from analysis.trace import FloatArray, IntArray
from tests.benchmarks.plain_matching import nearest_s_mm, plain_s_mm
from tests.hard_guides import RANDOM_GUIDES, WRONG_MM, error_mm
from tests.known import Known, smooth_tangent

KEPT = Path(__file__).parents[2] / "fixtures" / "reference" / "alignment_limits.json"
SHARE, SEED, TRACES = 0.01, 20260304, 40
PROCESSES = 2
NORMAL_REACH_MM, INSIDE_SHARE, EASE_MM = 2.0, 0.6, 8.0
"""How a pen beside a corner behaves: its normal turns over twice the first; inside a bend
it stays within this share of the radius; and it eases to that over the third length."""

GAP_MM = {
    "spiral": 10.0,
    "hairpin": 12.0,
    "figure-eight": 12.0,
    "nested rectangles": 12.0,
    "close zigzag": 8.0,
    "letter loops": 5.0,
    "smooth random": 10.0,
}
"""Distance of neighbouring lobes; where none run side by side, a length to measure by. [mm]"""
USUAL = {"amplitude": 0.5, "constant": 0.0, "spacing": 0.4, "noise": 0.05}
CURVES: dict[str, tuple[float, ...]] = {
    "amplitude": (0.3, 0.45, 0.6, 0.75, 0.9, 1.0, 1.1, 1.3),
    "constant": (0.3, 0.45, 0.6, 0.75, 0.9, 1.0, 1.1, 1.3),
    "spacing": (0.2, 0.5, 1.0, 2.0, 4.0, 6.0, 8.0, 12.0),
    "noise": (0.05, 0.1, 0.3, 0.5, 1.0, 2.0, 3.0),
}
"""Amplitude of a sine and a constant distance [gaps], sample spacing and noise [mm]."""
WAYS = ("ours", "plain", "nearest")


def _bounded(guide: Guide, s_mm: FloatArray, d_mm: FloatArray) -> FloatArray:
    """Distance held back on the inside of bends, where no pen could follow it.

    Past the centre of a bend the truth itself would run backwards.
    """
    reach_mm = np.maximum(np.abs(d_mm), NORMAL_REACH_MM)
    at_mm = [s_mm - reach_mm, s_mm + reach_mm]
    if not guide.closed:
        at_mm = [np.clip(one, 0, guide.length_mm * (1 - 1e-9)) for one in at_mm]
    before, after = (guide.segment_tangent[guide.segment_at(guide.wrapped(x))] for x in at_mm)
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    turn = np.arctan2(cross, (before * after).sum(axis=1))
    inside = np.sign(d_mm) * turn < 0
    most_mm = INSIDE_SHARE * 2 * reach_mm / np.maximum(np.abs(turn), 1e-9)
    share = np.where(inside, np.minimum(1.0, most_mm / np.maximum(np.abs(d_mm), 1e-9)), 1.0)
    width = max(3, round(EASE_MM / float(np.diff(s_mm).mean())))
    share = minimum_filter1d(share, width, mode="nearest")
    return d_mm * uniform_filter1d(share, width, mode="nearest")


def _beside(guide: Guide, s_mm: FloatArray, d_mm: FloatArray) -> FloatArray:
    tangent = smooth_tangent(guide, s_mm, NORMAL_REACH_MM)
    bounded_mm = _bounded(guide, s_mm, d_mm)
    left = np.column_stack([tangent[:, 1], -tangent[:, 0]])
    return guide.point_at(s_mm) + bounded_mm[:, None] * left


def known_trace(guide: Guide, gap_mm: float, rng: np.random.Generator, **asked: float) -> Known:
    """A trace of uneven speed beside its guide; what is not asked is as usual."""
    usual = {**USUAL, **({"amplitude": 0.0} if "constant" in asked else {}), **asked}
    count = max(3, round(guide.length_mm / usual["spacing"]))
    pace = np.cumsum(
        1 + 0.8 * np.sin(np.linspace(0, rng.uniform(4, 20), count) + rng.uniform(0, 6))
    )
    s_mm = (pace - pace[0]) / (pace[-1] - pace[0]) * guide.length_mm * (1 - 1e-9)
    wave = 2 * np.pi * s_mm / rng.uniform(30, 120) + rng.uniform(0, 2 * np.pi)
    d_mm = gap_mm * (
        usual["amplitude"] * np.sin(wave) + usual["constant"] * rng.choice([-1.0, 1.0])
    )
    part = guide.segment_part[guide.segment_at(s_mm)]
    begins_mm = np.concatenate(
        [[0.0], np.cumsum(np.bincount(guide.segment_part, guide.segment_length_mm))]
    )
    xy_mm = np.vstack(
        [
            _beside(Guide([one]), s_mm[part == k] - begins_mm[k], d_mm[part == k])
            for k, one in enumerate(guide.parts)
        ]
    )
    xy_mm += rng.normal(0, usual["noise"], (count, 2))
    return Known(np.arange(count) / 120, xy_mm, s_mm, d_mm)


def off_mm(guide: Guide, found_s_mm: FloatArray, known: Known) -> FloatArray:
    """Error of progress; where one part ends and the next begins, either is meant."""
    nudged = [np.clip(found_s_mm + by, 0, None) for by in (0.0, -1e-6)]
    if guide.closed:
        nudged = nudged[:1]
    return np.min([error_mm(guide, s_mm, known.s_mm) for s_mm in nudged], axis=0)


def ours_s_mm(guide: Guide, xy_mm: FloatArray, stroke: IntArray) -> FloatArray:
    """Progress in the asked direction, as Linnet finds it."""
    found = align(guide, xy_mm, stroke)
    return guide.length_mm - found.s_mm if found.other_way else found.s_mm


def is_wrong(error: FloatArray) -> bool:
    """Whether more than 1 % of the samples are more than 10 mm off."""
    return bool((error > WRONG_MM).mean() > SHARE)


def point(job: tuple[str, str, float, int]) -> list[float]:
    """Share of wrong traces at one point of one curve, by `WAYS`. [1]"""
    name, curve, value, count = job
    guide = RANDOM_GUIDES[name][0]
    number = list(RANDOM_GUIDES).index(name), list(CURVES).index(curve), round(1000 * value)
    rng = np.random.default_rng([SEED, *number])
    wrong = np.zeros(len(WAYS))
    for _ in range(count):
        known = known_trace(guide, GAP_MM[name], rng, **{curve: value})
        stroke = guide.segment_part[guide.segment_at(known.s_mm)]
        plain = plain_s_mm(guide, known.xy_mm, stroke), nearest_s_mm(guide, known.xy_mm)
        wrong += [
            is_wrong(off_mm(guide, s_mm, known))
            for s_mm in (ours_s_mm(guide, known.xy_mm, stroke), *plain)
        ]
    return [round(float(share), 4) for share in wrong / count]


def measured(count: int, names: tuple[str, ...] = tuple(RANDOM_GUIDES)) -> dict[str, object]:
    """All curves: share of wrong traces by guide, curve and way."""
    jobs = [(name, curve, x, count) for name in names for curve in CURVES for x in CURVES[curve]]
    with Pool(PROCESSES) as pool:
        found = iter(pool.map(point, jobs, chunksize=1))
    result: dict[str, object] = {}
    for name in names:
        result[name] = {
            curve: dict(zip(WAYS, zip(*(next(found) for _ in values), strict=True), strict=True))
            for curve, values in CURVES.items()
        }
    return result


def show(curves: dict[str, object]) -> None:
    """Print one block per curve."""
    for curve, values in CURVES.items():
        print(f"\n{curve:<28}" + "".join(f"{x:>7g}" for x in values))
        totals = {way: np.zeros(len(values)) for way in WAYS}
        for name, by_curve in curves.items():
            for way in WAYS:
                shares = by_curve[curve][way]  # type: ignore[index]
                totals[way] += shares
                print(f"{name:<19}{way:<9}" + "".join(f"{100 * x:>7.0f}" for x in shares))
        for way in WAYS:
            mean = 100 * totals[way] / len(curves)
            print(f"{'all':<19}{way:<9}" + "".join(f"{x:>7.1f}" for x in mean))


def main() -> None:
    """Print the curves in percent of traces."""
    numbers = [int(word) for word in sys.argv[1:] if word.isdigit()]
    count = numbers[0] if numbers else TRACES
    began = time.perf_counter()
    curves = measured(count)
    print(f"wrong traces of {count} at each point, in percent")
    show(curves)
    print(f"\n{time.perf_counter() - began:.0f} s on {PROCESSES} processes")
    if "--keep" in sys.argv:
        kept = {
            "source": (
                "Linnet's own output [N]: python -m tests.benchmarks.alignment_limits "
                f"{count} --keep; seed {SEED}; guards against change, proves nothing"
            ),
            "traces": count,
            "x": CURVES,
            "gap_mm": GAP_MM,
            "wrong_share": curves,
        }
        KEPT.parent.mkdir(exist_ok=True)
        KEPT.write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
