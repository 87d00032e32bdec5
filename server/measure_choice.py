"""The choice of one measure on a page: what is offered, what is taken, what it means."""

from collections.abc import Collection
from itertools import groupby
from typing import NamedTuple

from analysis.measure import Measure
from analysis.registry import MEASURES
from server.numbers import near_words
from server.sentences import MIDLINE_NOTE
from server.trend_series import measure_by_id

OF_TRIALS = ("trial",)
FIRST_MEASURE = "deviation_mean_abs"
BETTER_WORDS = {"low": "Lower is better.", "high": "Higher is better."}


class Option(NamedTuple):
    """One choice of a list."""

    value: str
    word: str
    here: bool


class OptionGroup(NamedTuple):
    """Choices under one heading."""

    name: str
    options: list[Option]


def chosen_measure(measure_id: str | None, scopes: Collection[str] = OF_TRIALS) -> Measure:
    """Return the measure with an id; the first choice where there is none of these scopes."""
    found = measure_by_id(measure_id or FIRST_MEASURE)
    if found is None or found.scope not in scopes:
        found = measure_by_id(FIRST_MEASURE)
    if found is None:
        raise LookupError(f"{FIRST_MEASURE} is not in the registry")
    return found


def measure_options(chosen: Measure, scopes: Collection[str] = OF_TRIALS) -> list[OptionGroup]:
    """Return the measures of some scopes that can be chosen, by family."""
    offered = [entry for entry in MEASURES if entry.scope in scopes]
    return [
        OptionGroup(
            name, [Option(entry.id, entry.label, entry.id == chosen.id) for entry in entries]
        )
        for name, entries in groupby(offered, key=lambda entry: entry.family)
    ]


def measure_words(measure: Measure) -> str:
    """Say what a measure means, which way is better, and what it assumes."""
    better = BETTER_WORDS.get(measure.better)
    if measure.better == "near" and measure.near is not None:
        better = f"Nearer to {near_words(measure.near)} is better."
    note = MIDLINE_NOTE if measure.family.casefold() == "midline" else None
    return " ".join(word for word in (measure.meaning, better, note) if word)
