"""Headers and data dictionary come from one place."""

from analysis.registry import MEASURES
from server.dictionary import measure_columns, trial_cells, trial_columns
from server.documents import read_trial
from server.scoring import failed_report, score
from tests.documents import as_bytes, put, sound

# Units of UCUM that a column may have; text columns have none.
UNITS = {"", "1", "%", "mm", "mm2", "mm/s", "s", "ms", "Hz", "s-1", "cm-1", "deg"}


def test_every_column_is_described_and_named_once() -> None:
    columns = trial_columns()
    assert len({one.name for one in columns}) == len(columns)
    for one in columns:
        assert one.type in ("string", "number", "integer", "boolean")
        assert one.unit in UNITS
        assert one.label
        assert one.meaning.endswith(".")
        assert one.source


def test_every_measure_of_a_trial_has_a_column_with_its_unit_in_the_order_of_the_registry() -> None:
    assert [one.label for one in measure_columns()] == [one.label for one in MEASURES]
    assert [one.unit for one in measure_columns()] == [one.unit for one in MEASURES]


def test_cells_are_those_of_the_columns_for_sound_spoilt_and_failed_trials() -> None:
    wanted = {one.name for one in trial_columns()}
    for raw in (as_bytes(sound()), put("guide", value={})()):
        document = read_trial(raw)
        assert set(trial_cells(document, score(document))) == wanted
        failed = trial_cells(document, failed_report(document.to_trial()))
        assert set(failed) == wanted
        assert failed["flags"] == "scoring_failed"
        assert failed["deviation_mean_abs_mm"] is None


def test_cells_have_the_type_their_column_says() -> None:
    kinds = {"string": str, "number": int | float, "integer": int, "boolean": bool}
    document = read_trial(as_bytes(sound()))
    cells = trial_cells(document, score(document))
    for one in trial_columns():
        value = cells[one.name]
        assert value is None or isinstance(value, kinds[one.type]), one.name


def test_no_cell_can_be_taken_for_a_formula() -> None:
    document = read_trial(as_bytes(sound()))
    for value in trial_cells(document, score(document)).values():
        assert not (isinstance(value, str) and value.startswith(("=", "+", "-", "@", "\t", "\r")))
