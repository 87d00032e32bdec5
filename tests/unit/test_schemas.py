"""The published JSON schemas are those kept beside this test, and real documents obey them.

After a change that is meant: ``python tests/unit/test_schemas.py`` writes them anew.
"""

import json
from pathlib import Path

import jsonschema
import pytest

from server.cuts import read_cut
from server.documents import read_trial, schemas
from server.scoring import failed_cut_report, failed_report, score, score_cut
from tests import cut_documents
from tests.cut_documents import sound_cut
from tests.documents import CASES, as_bytes, fragments, put, sound

FIXTURES = Path(__file__).parents[2] / "fixtures"

KEPT = Path(__file__).with_name("schemas")


def written(schema: object) -> str:
    return json.dumps(schema, indent=2, sort_keys=True) + "\n"


@pytest.mark.parametrize("name", schemas())
def test_the_kept_schema_is_the_one_the_code_makes(name: str) -> None:
    assert (KEPT / f"{name}.json").read_text() == written(schemas()[name])


def test_no_schema_is_kept_that_the_code_does_not_make() -> None:
    assert {path.stem for path in KEPT.glob("*.json")} == set(schemas())


@pytest.mark.parametrize("name", schemas())
def test_every_schema_is_a_schema(name: str) -> None:
    jsonschema.Draft202012Validator.check_schema(schemas()[name])


def test_the_sound_trial_and_its_reports_obey_their_schemas() -> None:
    made = schemas()
    jsonschema.validate(sound(), made["linnet-trial-1"])
    document = read_trial(as_bytes(sound()))
    jsonschema.validate(score(document), made["linnet-report-1"])
    jsonschema.validate(failed_report(document.to_trial()), made["linnet-report-1"])


def test_the_sound_cut_and_its_reports_obey_their_schemas() -> None:
    made = schemas()
    jsonschema.validate(sound_cut(), made["linnet-cut-1"])
    document = read_cut(as_bytes(sound_cut()))
    jsonschema.validate(score_cut(document), made["linnet-cut-report-1"])
    jsonschema.validate(failed_cut_report(document.to_cut()), made["linnet-cut-report-1"])


@pytest.mark.parametrize("path", sorted(FIXTURES.glob("trials/*.json")), ids=lambda one: one.stem)
def test_example_trials_of_every_mode_and_their_reports_obey_their_schemas(path: Path) -> None:
    made = schemas()
    jsonschema.validate(json.loads(path.read_text()), made["linnet-trial-1"])
    jsonschema.validate(score(read_trial(path.read_bytes())), made["linnet-report-1"])


@pytest.mark.parametrize("path", sorted(FIXTURES.glob("cuts/*.json")), ids=lambda one: one.stem)
def test_example_cuts_and_their_reports_obey_their_schemas(path: Path) -> None:
    made = schemas()
    jsonschema.validate(json.loads(path.read_text()), made["linnet-cut-1"])
    jsonschema.validate(score_cut(read_cut(path.read_bytes())), made["linnet-cut-report-1"])


def test_the_cut_schema_refuses_what_a_schema_can_see() -> None:
    validator = jsonschema.Draft202012Validator(schemas()["linnet-cut-1"])
    # A scale that px need is only seen with the whole document.
    seen = [case for case in cut_documents.CASES if not case.path.startswith("/scale")]
    for case in seen:
        if "needed" in case.says or "must be a" in case.says or case.name == "template not closed":
            assert not validator.is_valid(json.loads(case.raw())), case.name


def test_the_report_of_a_trial_with_every_event_obeys_its_schema() -> None:
    count = 400
    xs = [20 + 160 * at / (count - 1) for at in range(count)]
    samples = {
        "t_ms": [600 + 10 * at + (900 if at > 100 else 0) for at in range(count)],
        "x_mm": xs,
        "y_mm": [60 + (9 if 60 < x < 90 else 0) for x in xs],
        "stroke": [0 if at < 300 else 1 for at in range(count)],
    }
    report = score(read_trial(put("samples", value=samples)()))
    jsonschema.validate(report, schemas()["linnet-report-1"])
    assert report["events"]["departures"]
    assert report["events"]["lifts"]
    assert report["events"]["crossings"]


def test_the_trial_schema_refuses_what_a_schema_can_see() -> None:
    validator = jsonschema.Draft202012Validator(schemas()["linnet-trial-1"])
    for case in CASES:
        if "needed" in case.says or "must be a" in case.says:
            assert not validator.is_valid(json.loads(case.raw())), case.name


def test_the_secret_is_looked_for_in_every_malformed_document() -> None:
    assert all(fragments(case.raw()) for case in CASES)


if __name__ == "__main__":
    for schema_name, made_schema in schemas().items():
        (KEPT / f"{schema_name}.json").write_text(written(made_schema))
