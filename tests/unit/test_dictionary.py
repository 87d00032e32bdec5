"""Headers and data dictionary come from one place."""

from analysis.registry import MEASURES, column
from server.cuts import read_cut
from server.dictionary import (
    cut_cells,
    measure_columns,
    scored_columns,
    trial_cells,
    trial_columns,
)
from server.documents import read_trial
from server.scoring import failed_cut_report, failed_report, score, score_cut
from tests.cut_documents import sound_cut
from tests.documents import as_bytes, put, sound

# Units of UCUM that a column may have; text columns have none.
UNITS = {"", "1", "%", "mm", "mm2", "mm/s", "s", "ms", "Hz", "s-1", "cm-1", "deg", "bit", "bit/s"}

CUT_NAMES = {column(one) for one in MEASURES if one.scope == "cut"} | {
    "cut_id",
    "cut_template_id",
    "cut_registration",
    "cut_registration_rms_mm",
    "cut_band_mm",
    "cut_counts",
}


def test_every_column_is_described_and_named_once() -> None:
    columns = scored_columns()
    assert len({one.name for one in columns}) == len(columns)
    for one in columns:
        assert one.type in ("string", "number", "integer", "boolean")
        assert one.unit in UNITS
        assert one.label
        assert one.meaning.endswith(".")
        assert one.source


def test_every_measure_of_a_trial_has_a_column_with_its_unit_in_the_order_of_the_registry() -> None:
    for scope in ("trial", "cut"):
        mine = [one for one in MEASURES if one.scope == scope]
        assert mine
        ends = {f"{column(one)}_{end}" for one in mine if one.interval for end in ("low", "high")}
        columns = [one for one in measure_columns(scope) if one.name not in ends]
        assert [one.name for one in columns] == [column(one) for one in mine]
        assert [one.label for one in columns] == [one.label for one in mine]
        assert [one.unit for one in columns] == [one.unit for one in mine]
        assert len(measure_columns(scope)) == len(mine) + len(ends)


def test_a_table_of_trials_has_no_column_of_a_cut_and_one_of_both_has_all() -> None:
    trials = [one.name for one in trial_columns()]
    assert not [name for name in trials if name.startswith("cut_") and name in CUT_NAMES]
    assert [one.name for one in scored_columns()][: len(trials)] == trials
    assert {one.name for one in scored_columns()} >= CUT_NAMES


def test_cells_are_those_of_the_columns_for_sound_spoilt_and_failed_trials() -> None:
    wanted = {one.name for one in trial_columns()}
    for raw in (as_bytes(sound()), put("guide", value={})()):
        document = read_trial(raw)
        assert set(trial_cells(document, score(document))) == wanted
        failed = trial_cells(document, failed_report(document.to_trial()))
        assert set(failed) == wanted
        assert failed["flags"] == "scoring_failed"
        assert failed["deviation_mean_abs_mm"] is None


def test_cells_of_a_cut_are_those_of_the_columns() -> None:
    kinds = {"string": str, "number": int | float, "integer": int, "boolean": bool}
    wanted = {one.name: one for one in scored_columns()}
    document = read_cut(as_bytes(sound_cut()))
    for report in (score_cut(document), failed_cut_report(document.to_cut())):
        cells = cut_cells(document, report)
        assert set(cells) <= set(wanted)
        assert set(cells) >= CUT_NAMES
        for name, value in cells.items():
            assert value is None or isinstance(value, kinds[wanted[name].type]), name
    assert cells["flags"] == "scoring_failed"
    assert cells["cut_counts"] == "snips=17 paper_turns=4"


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
