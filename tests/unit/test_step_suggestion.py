"""When a step up or down is suggested: each rule at its edge, and how often it speaks by chance."""

import numpy as np
import pytest

from server.step_suggestion import SessionCount, suggestion

FINE = SessionCount(5, 5)


def verdict(*sessions: SessionCount) -> str:
    return suggestion(sessions).verdict


@pytest.mark.parametrize(
    ("finished", "met", "expected"),
    [(5, 4, "up"), (5, 3, "stay"), (6, 5, "up"), (6, 4, "stay"), (10, 8, "up"), (10, 7, "stay")],
)
def test_up_needs_four_of_five_in_both(finished: int, met: int, expected: str) -> None:
    one = SessionCount(finished, met)
    assert verdict(FINE, one) == expected
    assert verdict(one, FINE) == expected


@pytest.mark.parametrize(
    ("finished", "met", "expected"),
    [
        (5, 0, "down"),
        (5, 1, "down"),
        (5, 2, "stay"),
        (6, 1, "down"),
        (9, 2, "stay"),
        (10, 2, "down"),
    ],
)
def test_down_needs_at_most_one_of_five_in_both(finished: int, met: int, expected: str) -> None:
    one, few = SessionCount(finished, met), SessionCount(5, 1)
    assert verdict(few, one) == expected
    assert verdict(one, few) == expected


def test_one_good_or_one_bad_session_alone_changes_nothing() -> None:
    assert verdict(FINE, SessionCount(5, 1)) == "stay"
    assert verdict(SessionCount(5, 0), SessionCount(5, 5)) == "stay"


@pytest.mark.parametrize("met", [0, 4])
def test_fewer_than_five_finished_in_either_is_too_little(met: int) -> None:
    short = SessionCount(4, met)
    for pair in ((short, FINE), (FINE, short), (short, short)):
        assert verdict(*pair) == "too little to say"
    assert "5 finished" in " ".join(suggestion([short, FINE]).reasons)


def test_one_session_and_none_are_too_little() -> None:
    for sessions, words in (([FINE], "one session"), ([], "no session")):
        found = suggestion(sessions)
        assert found.verdict == "too little to say"
        assert words in found.reasons[0]


def test_only_the_last_two_sessions_decide() -> None:
    assert verdict(SessionCount(5, 0), SessionCount(3, 0), FINE, FINE) == "up"
    assert verdict(FINE, FINE, SessionCount(5, 1), SessionCount(5, 1)) == "down"


@pytest.mark.parametrize("change", [{"over": 1}, {"distress": 1}])
def test_help_beyond_the_goal_or_distress_in_either_keeps_from_up(change: dict[str, int]) -> None:
    marked = FINE._replace(**change)
    assert verdict(FINE, marked) == verdict(marked, FINE) == "stay"
    assert verdict(FINE, FINE) == "up"


def test_help_within_the_goal_does_not_keep_from_up() -> None:
    helped = FINE._replace(helped=3)
    assert verdict(helped, helped) == "up"


def test_help_that_rises_in_both_suggests_down_and_in_one_does_not() -> None:
    def third(helped: int) -> SessionCount:
        return SessionCount(5, 3, helped=helped)

    assert verdict(third(0), third(1), third(2)) == "down"
    assert verdict(third(1), third(1), third(2)) == "stay"
    assert verdict(third(0), third(2), third(2)) == "stay"
    assert verdict(third(1), third(2)) == "stay"


def test_help_is_compared_as_a_share_of_the_trials() -> None:
    # [C] 1/5 = 2/10 = 3/15: more trials with help, but no larger share.
    row = [SessionCount(n, n // 2, helped=h) for n, h in ((5, 1), (10, 2), (15, 3))]
    assert verdict(*row) == "stay"


def test_distress_that_rises_in_both_suggests_down() -> None:
    row = [SessionCount(5, 3, distress=count) for count in (0, 1, 2)]
    assert verdict(*row) == "down"
    assert verdict(row[0], row[2], row[1]) == "stay"
    assert "Distress rose in both sessions." in suggestion(row).reasons


def test_what_speaks_for_up_and_for_down_at_once_is_stay() -> None:
    found = suggestion([FINE._replace(helped=h) for h in (0, 1, 2)])
    assert found.verdict == "stay"
    assert found.reasons == ("In both sessions at least 4 of 5 met.", "Help rose in both sessions.")


def test_rising_distress_is_told_even_where_too_little_was_finished() -> None:
    found = suggestion([SessionCount(3, 2, distress=count) for count in (0, 1, 2)])
    assert found.verdict == "too little to say"
    assert "Distress rose in both sessions." in found.reasons


def test_help_that_was_not_described_keeps_from_up_and_may_speak_for_down() -> None:
    vague = SessionCount(5, 5, helped=1, not_told=1)
    assert verdict(FINE, vague) == verdict(vague, FINE) == "stay"
    said = "Help was given and not described in one trial: not counted."
    assert said in suggestion([FINE, vague]).reasons
    # [C] 0 of 10, 2 of 10, 5 of 10 with help: it rises, though only 10, 8 and 5 trials count.
    row = [SessionCount(10 - n, 10 - n, helped=n, not_told=n) for n in (0, 2, 5)]
    assert verdict(*row) == "down"


@pytest.mark.parametrize("count", [4, 1, 0])
def test_trials_that_are_not_counted_do_not_make_five_finished(count: int) -> None:
    """TRADE section 6: fewer than 5 finished in either says too little, whatever rose."""
    short = SessionCount(count, count, helped=5 - count, not_told=5 - count)
    assert verdict(FINE, short) == verdict(short, FINE) == "too little to say"
    rising = suggestion(
        [FINE, SessionCount(1, 1, helped=1, not_told=4), SessionCount(0, 0, helped=5, not_told=5)]
    )
    assert rising.verdict == "too little to say"
    assert rising.reasons == (
        "Each of the two sessions needs 5 finished trials or more.",
        "Help was given and not described in nine trials: not counted.",
        "Help rose in both sessions.",
    )


def test_down_looks_at_the_criterion_alone_and_up_at_the_help_too() -> None:
    helped = SessionCount(5, 1, over=4, helped=4, reached=5)
    assert verdict(helped, helped) == "stay"
    missed = SessionCount(5, 1, over=4, helped=4, reached=1)
    assert verdict(missed, missed) == "down"
    assert "More help than is allowed in eight trials: not met." in suggestion([helped] * 2).reasons


def test_too_much_help_is_told_even_where_too_little_was_finished() -> None:
    found = suggestion([SessionCount(3, 2, over=1)])
    assert found.verdict == "too little to say"
    assert "More help than is allowed in one trial: not met." in found.reasons


@pytest.mark.parametrize(
    "counts",
    [
        SessionCount(5, 5, helped=6),
        SessionCount(5, 0, reached=6),
        SessionCount(5, 6),
        SessionCount(5, -1),
        SessionCount(5, 5, over=6),
    ],
)
def test_counts_that_cannot_be_are_refused(counts: SessionCount) -> None:
    with pytest.raises(ValueError, match="at most finished"):
        suggestion([FINE, counts])


# How often the rule speaks. Assumed, since the model figures of the rule do not say so: exactly
# five finished trials a session, independent, one true rate, no help and no distress, one step.

RUNS, TRIALS, SEED = 20_000, 5, 20_260_303
# The simulated share lies within 3.5 standard errors of the closed form: 1.2 points at the most.
NEAR = 3.5 * (0.25 / RUNS) ** 0.5
# The model figures are whole percents of another simulation.
ROUNDED = 0.015


def spoken_share(rate: float, sessions: int, wanted: str) -> float:
    met = np.random.default_rng(SEED).binomial(TRIALS, rate, size=(RUNS, sessions)).tolist()
    spoken = 0
    for run in met:
        row = [SessionCount(TRIALS, count) for count in run]
        spoken += any(verdict(*row[: k + 1]) == wanted for k in range(sessions))
    return spoken / RUNS


def run_of_two(q: float, sessions: int) -> float:
    """[C] Chance of two in a row within some tries, each with chance q."""
    none = [1.0, 1.0]
    for _ in range(1, sessions):
        none.append((1 - q) * none[-1] + q * (1 - q) * none[-2])
    return 1 - none[sessions]


@pytest.mark.parametrize(
    ("rate", "sessions", "q", "model"),
    [
        # [C] P(at least 4 of 5 met): 6/32 at one half; 0.8^5 + 5 × 0.8^4 × 0.2 at 0.8.
        (0.5, 10, 6 / 32, 0.24),
        (0.8, 4, 0.73728, 0.83),
    ],
)
def test_two_sessions_in_a_row_speak_as_often_as_the_model_says(
    rate: float, sessions: int, q: float, model: float
) -> None:
    share, exact = spoken_share(rate, sessions, "up"), run_of_two(q, sessions)
    assert share == pytest.approx(exact, abs=NEAR)
    assert share == pytest.approx(model, abs=ROUNDED)


def test_down_speaks_as_often_as_up_for_a_true_rate_of_one_half() -> None:
    # [C] By symmetry of the binomial at one half.
    assert spoken_share(0.5, 10, "down") == pytest.approx(run_of_two(6 / 32, 10), abs=NEAR)
