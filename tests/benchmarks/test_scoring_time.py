"""How the cost of scoring grows with the length of a trial."""

import pytest

from tests.benchmarks.scoring import LONG_S, MOST_RATIO, SHORT_S, drawn, guides, score_s


@pytest.mark.slow
@pytest.mark.parametrize("name", guides())
def test_sixty_seconds_cost_little_more_than_five_times_twelve(name: str) -> None:
    guide = guides()[name]
    short_s, long_s = (score_s(drawn(guide, s)) for s in (SHORT_S, LONG_S))
    print(f"{name}: {1e3 * short_s:.0f} ms, {1e3 * long_s:.0f} ms, {long_s / short_s:.2f}")
    assert long_s / short_s <= MOST_RATIO
