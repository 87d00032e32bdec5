"""How far from its guide, how fast and how noisy a trace may be and still find its lobes."""

import json

import numpy as np
import pytest

from tests.benchmarks.alignment_limits import (
    CURVES,
    GAP_MM,
    KEPT,
    is_wrong,
    known_trace,
    off_mm,
    ours_s_mm,
)
from tests.hard_guides import RANDOM_GUIDES

WITHIN = [
    {"amplitude": 0.75},
    {"constant": 0.45},
    {"spacing": 4.0},
    {"noise": 3.0},
]
"""Points up to which no trace is wrong: amplitude and distance in gaps, the others in mm."""


@pytest.mark.parametrize("asked", WITHIN, ids=lambda one: "-".join(map(str, *one.items())))
@pytest.mark.parametrize("name", RANDOM_GUIDES)
def test_no_trace_within_the_limits_lands_on_a_wrong_lobe(
    name: str, asked: dict[str, float]
) -> None:
    guide, rng = RANDOM_GUIDES[name][0], np.random.default_rng(77)
    for _ in range(5):
        known = known_trace(guide, GAP_MM[name], rng, **asked)
        stroke = guide.segment_part[guide.segment_at(known.s_mm)]
        assert not is_wrong(off_mm(guide, ours_s_mm(guide, known.xy_mm, stroke), known))


def test_the_kept_curves_say_the_same() -> None:
    kept = json.loads(KEPT.read_text(encoding="utf-8"))
    for name in RANDOM_GUIDES:
        for asked in WITHIN:
            ((curve, most),) = asked.items()
            shares = kept["wrong_share"][name][curve]["ours"]
            within = [share for x, share in zip(CURVES[curve], shares, strict=True) if x <= most]
            assert within
            assert max(within) == 0, (name, curve)
