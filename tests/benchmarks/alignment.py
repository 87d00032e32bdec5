"""Wrong lobes in random traces: our matching beside the nearest point.

Run: ``python -m tests.benchmarks.alignment [traces per guide]``. A trace is wrong if
more than 1 % of its samples are placed more than 10 mm off along the guide.
"""

import sys

import numpy as np

from tests.hard_guides import RANDOM_GUIDES, WRONG_MM, aligned_error, error_mm, nearest_s_mm
from tests.hard_guides import random_trace as make

SHARE = 0.01


def main() -> None:
    """Print one row per guide."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    print(f"{'guide':<20}{'traces':>7}{'wrong':>7}{'nearest point':>15}{'max error mm':>14}")
    totals = np.zeros(3, dtype=int)
    for name, (guide, most_mm) in RANDOM_GUIDES.items():
        rng = np.random.default_rng(20260303)
        wrong = nearest = 0
        worst_mm = 0.0
        for _ in range(count):
            known = make(guide, most_mm, rng)
            error = aligned_error(guide, known)
            worst_mm = max(worst_mm, float(np.quantile(error, 1 - SHARE)))
            wrong += int((error > WRONG_MM).mean() > SHARE)
            plain = error_mm(guide, nearest_s_mm(guide, known.xy_mm), known.s_mm)
            nearest += int((plain > WRONG_MM).mean() > SHARE)
        totals += [count, wrong, nearest]
        print(f"{name:<20}{count:>7}{wrong:>7}{nearest:>15}{worst_mm:>14.2f}")
    print(f"{'all':<20}{totals[0]:>7}{totals[1]:>7}{totals[2]:>15}")


if __name__ == "__main__":
    main()
