"""Cost of scoring one trial, beside a reference measured in the same run.

Run: ``python -m tests.benchmarks.scoring``. The reference is parsing the same
document's samples with the standard library's json, so that a slow machine slows both.
"""

import json
import time
from collections.abc import Callable

import numpy as np

from analysis import shapes, shapes_winding
from analysis.guide import Guide
from analysis.report import make_report
from analysis.workings import Workings
from tests.known import trial, wavy

REPEATS = 9


def fastest_s(action: Callable[[], object]) -> float:
    """Least time of several runs. [s]"""
    times = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        action()
        times.append(time.perf_counter() - start)
    return min(times)


def main() -> None:
    """Print one row per case."""
    arch = Guide.from_points(shapes.half_ellipse(180, 85), corridor_mm=12, midline_x_mm=90)
    spiral = Guide.from_points(shapes_winding.spiral(10, 3, inner_radius_mm=4), corridor_mm=8)
    cases = [("High Bridge", arch, 12.0), ("spiral", spiral, 12.0), ("spiral", spiral, 60.0)]
    print(f"{'case':<14}{'samples':>8}{'score ms':>10}{'json ms':>9}{'ratio':>7}")
    spirals = []
    for name, guide, duration_s in cases:
        known = wavy(guide, 3.0, speed_mm_s=guide.length_mm / duration_s, rate_hz=240)
        one = trial(guide, known.xy_mm, known.t_s)
        text = json.dumps(np.column_stack([known.t_s, known.xy_mm]).tolist())
        score_s = fastest_s(lambda one=one: make_report(Workings(one)))
        json_s = fastest_s(lambda text=text: json.loads(text))
        print(
            f"{name:<14}{len(known.t_s):>8}{1e3 * score_s:>10.1f}{1e3 * json_s:>9.1f}"
            f"{score_s / json_s:>7.1f}"
        )
        if guide is spiral:
            spirals.append(score_s)
    print(f"60 s over 12 s on the spiral: {spirals[1] / spirals[0]:.2f}")


if __name__ == "__main__":
    main()
