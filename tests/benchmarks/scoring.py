"""Cost of scoring one trial, beside a reference measured in the same run.

Run: ``python -m tests.benchmarks.scoring``. The reference is parsing the same
document's samples with the standard library's json, so that a slow machine slows both.
"""

import json
import time
from collections.abc import Callable
from contextlib import suppress

import numpy as np

from analysis import shapes, shapes_winding
from analysis.guide import Guide
from analysis.registry import MEASURES, measure_all
from analysis.report import make_report
from analysis.trial import Trial
from analysis.value import Refused
from analysis.workings import Workings
from tests.known import trial, wavy
from tests.simulated import Sampling, attempt, sampled

REPEATS = 9
MOST_RATIO = 6.0
"""Five times the samples may cost this much more: little above in proportion."""
RATE_HZ, SHORT_S, LONG_S = 240.0, 12.0, 60.0
SHOWN = 8
"""Dearest measures that are listed."""
PEN_NOISE_MM = 0.02


def fastest_s(action: Callable[[], object]) -> float:
    """Least time of several runs. [s]"""
    times = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        action()
        times.append(time.perf_counter() - start)
    return min(times)


def drawn(guide: Guide, duration_s: float) -> Trial:
    """A noisy line of a pen with pressure at 240 Hz, with all its measures."""
    known = wavy(guide, 3.0, speed_mm_s=guide.length_mm / duration_s, rate_hz=RATE_HZ)
    rng = np.random.default_rng(12)
    xy_mm = known.xy_mm + rng.normal(0.0, PEN_NOISE_MM, known.xy_mm.shape)
    pressure = 0.5 + 0.1 * np.sin(2 * np.pi * 0.4 * known.t_s)
    return trial(guide, xy_mm, known.t_s, pressure=pressure, pressure_band=(0.4, 0.6), mode="cut")


def score_s(one: Trial) -> float:
    """Least time of a report, nothing computed before. [s]"""
    return fastest_s(lambda: make_report(Workings(one)))


def guides() -> dict[str, Guide]:
    """An open guide without and one with neighbouring lobes, and a closed one."""
    return {
        "spiral": Guide.from_points(
            shapes_winding.spiral(10, 3, inner_radius_mm=4), corridor_mm=8, midline_x_mm=0
        ),
        "circle": Guide.from_points(shapes.circle(40), closed=True, corridor_mm=12),
        "High Bridge": Guide.from_points(
            shapes.half_ellipse(180, 85), corridor_mm=12, midline_x_mm=90
        ),
    }


def cost_s(one: Trial) -> dict[str, float]:
    """Least time of each measure in its turn; the first to need a shared step pays for it. [s]"""
    least: dict[str, float] = {}
    for _ in range(REPEATS):
        w = Workings(one)
        start = time.perf_counter()
        w.alignment, w.quality, w.kinematics  # noqa: B018
        least["(shared steps)"] = min(
            least.get("(shared steps)", np.inf), time.perf_counter() - start
        )
        for entry in MEASURES:
            if entry.scope == "trial" and one.mode in entry.modes:
                start = time.perf_counter()
                with suppress(Refused):
                    entry.function(w)  # type: ignore[attr-defined]
                least[entry.id] = min(least.get(entry.id, np.inf), time.perf_counter() - start)
    return least


def row(name: str, one: Trial) -> float:
    """Print the cost of one case beside its reference. [s]"""
    took_s = score_s(one)
    text = json.dumps(np.column_stack([one.trace.t_s, one.trace.xy_mm]).tolist())
    json_s = fastest_s(lambda: json.loads(text))
    given = sum(value.number is not None for value in measure_all(Workings(one)).values())
    print(
        f"{name:<18}{len(one.trace):>8}{given:>9}{1e3 * took_s:>10.1f}{1e3 * json_s:>9.1f}"
        f"{took_s / json_s:>7.1f}"
    )
    return took_s


def main() -> None:
    """Print one row per case, the ratios, and the dearest measures."""
    print(f"{'case':<18}{'samples':>8}{'measures':>9}{'score ms':>10}{'json ms':>9}{'ratio':>7}")
    for name, guide in guides().items():
        short_s, long_s = (row(f"{name}, {s:g} s", drawn(guide, s)) for s in (SHORT_S, LONG_S))
        print(f"  {LONG_S:g} s over {SHORT_S:g} s: {long_s / short_s:.2f} (at most {MOST_RATIO:g})")
    for number in (2, 3, 4, 14, 24):
        made = attempt(number)
        row(made.kind, sampled(made, Sampling(RATE_HZ, PEN_NOISE_MM)))
    print(f"\ndearest on the spiral of {LONG_S:g} s, ms")
    spiral = guides()["spiral"]
    short, long = cost_s(drawn(spiral, SHORT_S)), cost_s(drawn(spiral, LONG_S))
    for name in sorted(long, key=lambda one: -long[one])[:SHOWN]:
        print(f"  {name:<28}{1e3 * long[name]:>8.1f}{long[name] / short[name]:>7.1f} x")


if __name__ == "__main__":
    main()
