"""The command line: what it prints, where, and with which exit code."""

import csv
import io
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from analysis.registry import MEASURES, column, reasons_of
from analysis.value import REASONS
from server import cli_score
from server.cli import app
from server.cli_measures import SCOPES
from server.dictionary import scored_columns
from server.inputs import NO_LINE_NO_DOTS
from server.numbers import measured
from server.sentences_modes import NO_LINES
from tests.cut_documents import CUT_ID, sound_cut
from tests.cut_documents import put as put_cut
from tests.documents import SECRET, TRIAL_ID, as_bytes, put, sound

FIXTURES = Path(__file__).parents[2] / "fixtures"
TRIALS, CUTS = FIXTURES / "trials", FIXTURES / "cuts"
HELLO = FIXTURES / "reference" / "inkml_hello.inkml"


def linnet(*arguments: str | Path) -> Result:
    return CliRunner().invoke(app, [str(argument) for argument in arguments])


def run(*arguments: str | Path, stdout: int | io.FileIO, **settings: str) -> tuple[int, bytes, str]:
    """Exit code, output and error output of the command as a process of its own."""
    done = subprocess.run(
        [sys.executable, "-c", "from server.cli import main; main()", *arguments],
        stdout=stdout,
        stderr=subprocess.PIPE,
        env=os.environ | settings,
        check=False,
    )
    return done.returncode, done.stdout, done.stderr.decode()


def other_id(digit: int) -> str:
    return TRIAL_ID[:-1] + str(digit)


@pytest.fixture
def three(tmp_path: Path) -> list[Path]:
    """Two sound documents with a broken one between them."""
    paths = [tmp_path / name for name in ("c.json", "a.json", "b.json")]
    paths[0].write_bytes(put("trial_id", value=other_id(1))())
    paths[1].write_bytes(put("samples", "t_ms", 2, value=SECRET)())
    paths[2].write_bytes(put("trial_id", value=other_id(2))())
    return paths


def test_json_gives_one_report_a_line_in_the_order_of_the_files(three: list[Path]) -> None:
    result = linnet("score", "--json", three[2], three[0])
    assert result.exit_code == 0
    assert result.stderr == ""
    reports = [json.loads(line) for line in result.stdout.splitlines()]
    assert [report["trial_id"] for report in reports] == [other_id(2), other_id(1)]
    assert reports[0]["format"] == "linnet-report/1"


@pytest.mark.parametrize("form", ["--json", "--csv", "--text"])
def test_a_bad_file_is_named_with_its_fault_and_the_rest_is_still_printed(
    three: list[Path], form: str
) -> None:
    result = linnet("score", form, *three)
    assert result.exit_code == 1
    assert result.stderr == f"{three[1]}: /samples/t_ms/2: This must be a number.\n"
    at = [result.stdout.index(other_id(digit)) for digit in (1, 2)]
    assert at == sorted(at)
    assert TRIAL_ID not in result.stdout


def test_csv_is_rfc_4180_with_a_column_for_every_measure(three: list[Path]) -> None:
    result = linnet("score", "--csv", *three)
    text = result.stdout_bytes.decode()
    assert text.count("\r\n") == text.count("\n") == 3
    header, *rows = csv.reader(io.StringIO(text))
    assert header == ["input", "trial_id", *(one.name for one in scored_columns())]
    scopes = ("trial", "cut")
    measures = [column(one) for scope in scopes for one in MEASURES if one.scope == scope]
    assert [name for name in header if name in measures] == measures
    assert [row[0] for row in rows] == ["1", "3"]
    cells = dict(zip(header, rows[0], strict=True))
    assert cells["half_width_mm"] == "4.0"  # [C] half of the full width 8
    assert cells["calibrated"] == "true"
    assert "closure_error=guide_lacks_feature" in cells["refused"].split(" ")
    assert cells["closure_error_mm"] == ""


def test_csv_and_json_say_the_same(three: list[Path]) -> None:
    report = json.loads(linnet("score", "--json", three[0]).stdout)
    table = csv.DictReader(io.StringIO(linnet("score", "--csv", three[0]).stdout))
    cells = next(table)
    assert len(report["measures"]) > 50
    for measure in MEASURES:
        if measure.scope == "trial":
            value = report["measures"].get(measure.id, {}).get("value")
            assert cells[column(measure)] == ("" if value is None else str(value))


def test_text_is_the_default_and_reads_as_sentences() -> None:
    result = linnet("score", TRIALS / "good.json")
    assert result.exit_code == 0
    assert result.stdout == linnet("score", "--text", TRIALS / "good.json").stdout
    assert "mm each side" in result.stdout
    assert "Mean distance from the line" in result.stdout
    assert "Not a standardised test, a norm or a diagnosis." in result.stdout


def test_text_writes_shares_and_sides_as_the_pages_do() -> None:
    words = linnet("score", TRIALS / "paused-lifted-departed.json").stdout
    report = json.loads(linnet("score", "--json", TRIALS / "paused-lifted-departed.json").stdout)
    lines = [re.split(r"  +", line.strip()) for line in words.splitlines() if "  " in line]
    told = dict(line for line in lines if len(line) == 2)
    shown = {"in_corridor_share", "deviation_bias", "path_length", "pause_count"}
    for entry in (one for one in MEASURES if one.id in shown):
        value = report["measures"][entry.id]["value"]
        assert told[entry.label] == measured(value, entry)
    assert told["Share of the line inside the corridor"].endswith("%")
    assert told["Left or right of travel"].endswith(("mm left", "mm right"))


@pytest.mark.parametrize("path", sorted(TRIALS.glob("*.json")), ids=lambda path: path.stem)
def test_every_usual_kind_of_trial_is_told_in_words_without_a_made_up_number(path: Path) -> None:
    result = linnet("score", path)
    assert result.exit_code == 0
    assert "nan" not in result.stdout
    assert "None" not in result.stdout
    report = json.loads(linnet("score", "--json", path).stdout)
    assert result.stdout.count("Caution:") == len(report["quality"]["flags"])
    refused = [one for one in report["measures"].values() if one["value"] is None]
    assert result.stdout.count("  none: ") == len(refused)


@pytest.fixture
def mixed(tmp_path: Path) -> list[Path]:
    """A trial, a cut with a misleading name, ink, and a broken cut, in that order."""
    paths = [tmp_path / name for name in ("a.json", "b.inkml", "c.json", "d.json")]
    paths[0].write_bytes(as_bytes(sound()))
    paths[1].write_bytes(as_bytes(sound_cut()))
    paths[2].write_bytes(HELLO.read_bytes())
    paths[3].write_bytes(put_cut("outline", "unit", value=SECRET)())
    return paths


def test_kinds_are_told_apart_by_what_stands_in_the_files(mixed: list[Path]) -> None:
    result = linnet("score", "--json", *mixed[2::-1])
    assert result.exit_code == 0
    assert result.stderr == ""
    reports = [json.loads(line) for line in result.stdout.splitlines()]
    formats = [report["format"] for report in reports]
    assert formats == ["linnet-report/1", "linnet-cut-report/1", "linnet-report/1"]
    assert reports[0]["measures"]["lift_count"]["value"] == 4.0  # [C] five strokes of ink
    assert reports[1]["cut_id"] == CUT_ID
    # [C] a square cut 1 mm outside all round: 42^2 / 40^2
    assert reports[1]["measures"]["cut_area_ratio"]["value"] == pytest.approx(1.1025, abs=1e-6)
    assert reports[2]["trial_id"] == TRIAL_ID


@pytest.mark.parametrize("form", ["--json", "--csv", "--text"])
def test_a_bad_cut_is_named_and_the_other_kinds_are_printed(mixed: list[Path], form: str) -> None:
    result = linnet("score", form, mixed[3], *mixed[:3])
    assert result.exit_code == 1
    assert result.stderr == f"{mixed[3]}: /outline/unit: This must be 'mm' or 'px'.\n"
    assert result.stdout.index(TRIAL_ID) < result.stdout.index(CUT_ID)
    assert SECRET not in result.stdout


def test_one_table_holds_trials_and_cuts(mixed: list[Path]) -> None:
    text = linnet("score", "--csv", *mixed[:3]).stdout
    trial, cut, ink = csv.DictReader(io.StringIO(text))
    assert [row["input"] for row in (trial, cut, ink)] == ["1", "2", "3"]
    assert (trial["trial_id"], trial["cut_id"]) == (TRIAL_ID, "")
    assert (cut["trial_id"], cut["cut_id"]) == ("", CUT_ID)
    assert (trial["mode"], cut["mode"], ink["mode"]) == ("trace", "cut", "trace")
    assert (cut["cut_registration"], cut["cut_band_mm"]) == ("marks", "3.2")
    assert cut["cut_counts"] == "snips=17 paper_turns=4"
    assert float(cut["cut_deviation_max_mm"]) == pytest.approx(2**0.5, abs=0.01)  # [C] a corner
    assert float(cut["cut_bias_outward_mm"]) == pytest.approx(1.0, abs=0.02)  # [C] 1 mm outside
    for name in (one.name for one in scored_columns() if one.name.startswith("cut_")):
        if name not in ("cut_reversal_count",):
            assert trial[name] == "", name
    assert cut["completion"] == cut["deviation_mean_abs_mm"] == ""


@pytest.mark.parametrize("path", sorted(CUTS.glob("*.json")), ids=lambda path: path.stem)
def test_every_cut_is_told_in_words_with_how_it_was_laid(path: Path) -> None:
    words = linnet("score", path).stdout
    report = json.loads(linnet("score", "--json", path).stdout)
    assert "nan" not in words
    assert "None" not in words
    laid = {
        "marks": "Laid on the template by its printed marks",
        "best_fit": "by the best fit, which hides where on the sheet and how far turned",
    }
    kind = report["registration"]["kind"]
    digitised = report["quality"]["point_count"] > 0
    assert (laid[kind] in words) == digitised
    assert ("on the line" in words or "from the line on average" in words) == digitised
    assert "Counted: " in words
    assert "Not a standardised test, a norm or a diagnosis." in words


def test_dots_posts_and_two_hands_are_told_in_their_own_words() -> None:
    def said(name: str) -> str:
        words = linnet("score", TRIALS / f"{name}.json").stdout
        return words.replace("\N{NO-BREAK SPACE}", " ").splitlines()[1]

    assert said("tap").startswith("8 of 10 dots touched. ")
    assert said("join").startswith("5 of 6 dots joined. ")
    assert said("both").count("of its line, 9 mm each side.") == 2
    assert said("both").endswith("The second contact was 0.2 s behind.")
    assert said("both-hold").startswith("First contact held and moved by up to ")
    words = linnet("score", TRIALS / "both.json").stdout
    assert "First contact, on line 1\n" in words
    assert "Second contact, on line 2\n" in words


@pytest.mark.parametrize("name", ["both", "both-hold"])
@pytest.mark.parametrize("parts", [0, 3])
def test_hands_without_a_guide_to_follow_are_not_said_to_hold(
    name: str, parts: int, tmp_path: Path
) -> None:
    document = json.loads((TRIALS / f"{name}.json").read_text())
    line = {"points_mm": [[10, 10], [50, 10]], "corridor_mm": 18}
    document["guide"] = {"parts": [line] * parts} if parts else {}
    path = tmp_path / "trial.json"
    path.write_bytes(as_bytes(document))
    words = linnet("score", path).stdout
    assert words.splitlines()[1] == NO_LINES
    assert "held" not in words
    assert "\nFirst contact\n" in words


@pytest.mark.parametrize("name", ["tap", "join"])
def test_a_trial_of_dots_without_dots_says_so(name: str, tmp_path: Path) -> None:
    document = json.loads((TRIALS / f"{name}.json").read_text())
    document["guide"]["targets_mm"] = []
    path = tmp_path / "trial.json"
    path.write_bytes(as_bytes(document))
    words = linnet("score", path).stdout
    assert words.splitlines()[1].startswith("There are no dots to compare with")
    assert "On the path" not in words


def test_a_closed_guide_takes_the_place_of_a_template_and_an_open_one_does_not(
    mixed: list[Path], tmp_path: Path
) -> None:
    closed, opened = tmp_path / "closed.json", tmp_path / "open.json"
    square = [[19, 19], [61, 19], [61, 61], [19, 61]]
    closed.write_text(json.dumps({"points_mm": square, "closed": True}))
    opened.write_text(json.dumps({"points_mm": square}))
    result = linnet("score", "--json", "--guide", closed, mixed[1])
    assert result.exit_code == 0
    measures = json.loads(result.stdout)["measures"]
    # [C] the piece was cut 1 mm outside its own template, so exactly along this one
    assert measures["cut_deviation_mean"]["value"] == pytest.approx(0.0, abs=1e-6)
    result = linnet("score", "--json", "--guide", opened, mixed[1])
    assert "is measured against its own template." in result.stderr
    assert result.exit_code == 0
    measures = json.loads(result.stdout)["measures"]
    assert measures["cut_area_ratio"]["value"] == pytest.approx(1.1025, abs=1e-6)  # [C]


def test_another_guide_can_be_measured_against(tmp_path: Path) -> None:
    trial, guide = tmp_path / "trial.json", tmp_path / "guide.json"
    trial.write_bytes(as_bytes(sound()))
    other = sound()["guide"] | {"points_mm": [[20, 57], [20.5, 57]], "corridor_mm": 24}
    guide.write_bytes(as_bytes(other))
    own = json.loads(linnet("score", "--json", trial).stdout)
    result = linnet("score", "--json", "--guide", guide, trial)
    report = json.loads(result.stdout)
    assert report["half_width_mm"] == 12.0  # [C] half of 24
    assert report["measures"]["start_error"]["value"] == pytest.approx(
        (0.1**2 + 3.0**2) ** 0.5
    )  # [C] first sample 20.10, 60.00 against 20, 57
    assert report["guide_id"] != own["guide_id"]


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b'{"points_mm": [[1, 1]]}', "/points_mm: A line needs at least two points."),
        (b'{"points_mm": [[1, 1], [1]]}', "/points_mm/1: This must be a list of two numbers."),
        (b"Quillfeather", "The document is not JSON: look at line 1, column 1."),
        (b'{"points_mm": null, "targets_mm": []}', NO_LINE_NO_DOTS),
        # A whole trial is no guide, although it holds one.
        (as_bytes(sound()), NO_LINE_NO_DOTS),
    ],
)
def test_a_bad_guide_stops_the_command(tmp_path: Path, content: bytes, says: str) -> None:
    guide = tmp_path / "guide.json"
    guide.write_bytes(content)
    result = linnet("score", TRIALS / "good.json", "--guide", guide)
    assert result.exit_code == 1
    assert result.stdout == ""
    assert result.stderr == f"{guide}: {says}\n"


def test_a_file_that_is_not_there_or_is_a_folder_is_told_plainly(tmp_path: Path) -> None:
    result = linnet("score", tmp_path / "gone.json", tmp_path, TRIALS / "good.json", "--json")
    assert result.exit_code == 1
    assert "gone.json: The file cannot be read: No such file or directory." in result.stderr
    assert f"{tmp_path}: The file cannot be read: Is a directory." in result.stderr
    assert len(result.stdout.splitlines()) == 1


@pytest.mark.parametrize("command", [["measures"], ["score", str(TRIALS / "good.json")]])
def test_the_output_is_utf_8_whatever_the_locale(command: list[str]) -> None:
    code, printed, told = run(*command, stdout=subprocess.PIPE, PYTHONIOENCODING="latin-1")
    assert (code, told) == (0, "")
    assert printed.decode() == linnet(*command).stdout


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
@pytest.mark.parametrize("command", [["measures"], ["score", str(CUTS / "ticket-snips.json")]])
def test_a_full_disk_is_told_in_a_sentence_and_ends_with_1(command: list[str]) -> None:
    with Path("/dev/full").open("wb", buffering=0) as full:
        code, _, told = run(*command, stdout=full)
    assert (code, told) == (1, "The output cannot be written: No space left on device.\n")


def test_a_trial_that_cannot_be_scored_is_printed_with_its_flag_and_ends_with_1(
    three: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    def crash(_: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("server.scoring.make_report", crash)
    result = linnet("score", "--json", three[0])
    assert result.exit_code == 1
    assert json.loads(result.stdout)["quality"]["flags"] == ["scoring_failed"]
    assert result.stderr == f"{three[0]}: {cli_score.FAILED}\n"
    assert "could not be measured" in linnet("score", three[0]).stdout


@pytest.mark.parametrize(
    "arguments",
    [
        ["score"],
        ["score", "--json", "--csv", "x.json"],
        ["score", "--xml", "x.json"],
        ["measures", "--csv", "--text"],
        ["demo", "--port", "65536"],
        ["demo", "--port", "harbour"],
        ["serve", "--port", "-1"],
        ["serve", "--tls-cert", str(TRIALS / "good.json")],
        ["sing"],
    ],
)
def test_wrong_use_ends_with_2_and_prints_nothing(arguments: list[str]) -> None:
    result = linnet(*arguments)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr


@pytest.mark.parametrize("command", ["score", "measures", "demo", "serve"])
def test_every_command_and_option_has_help(command: str) -> None:
    result = linnet(command, "--help")
    assert result.exit_code == 0
    whole = linnet("--help")
    assert command in whole.stdout
    row = next(one for one in app.registered_commands if one.callback.__name__ == command)
    assert row.callback.__doc__


def test_measures_lists_the_registry_in_its_order() -> None:
    rows = [json.loads(line) for line in linnet("measures", "--json").stdout.splitlines()]
    assert [row["id"] for row in rows] == [measure.id for measure in MEASURES]
    assert [row["column"] for row in rows] == [column(measure) for measure in MEASURES]
    table = list(csv.DictReader(io.StringIO(linnet("measures", "--csv").stdout)))
    assert [row["meaning"] for row in table] == [measure.meaning for measure in MEASURES]
    assert [row["formula"] for row in rows] == [measure.formula for measure in MEASURES]
    assert [row["edges"] for row in table] == [measure.edges for measure in MEASURES]
    assert [row["reasons"] for row in rows] == [list(reasons_of(one)) for one in MEASURES]
    assert [row["reasons"].split() for row in table] == [row["reasons"] for row in rows]


def test_the_handbook_says_of_every_measure_what_the_registry_says() -> None:
    text = linnet("measures", "--text").stdout
    lines = text.splitlines()
    assert [line for line in lines if len(line) > 88 or line != line.rstrip()] == []
    pages = dict(
        zip(re.findall(r"^    id (\w+);", text, re.MULTILINE), pages_of(text), strict=True)
    )
    places = list(dict.fromkeys((one.scope, one.family) for one in MEASURES))
    assert sorted(places, key=lambda place: list(SCOPES).index(place[0])) == places
    by_place = sorted(MEASURES, key=lambda one: places.index((one.scope, one.family)))
    assert list(pages) == [measure.id for measure in by_place]
    for measure in MEASURES:
        page = " ".join(pages[measure.id].split())
        said = [column(measure), measure.meaning, measure.formula, measure.edges, measure.source]
        said += [REASONS[code] for code in reasons_of(measure)]
        assert [one for one in said if " ".join(one.split()) not in page] == [], measure.id


def test_no_fact_of_the_handbook_is_torn_apart_by_the_end_of_a_line() -> None:
    text = linnet("measures", "--text").stdout
    assert "\N{NO-BREAK SPACE}" not in text
    for page in re.findall(r"^    id \w+;.*?^    Definition", text, re.MULTILINE | re.DOTALL):
        lines = [line.strip() for line in page.splitlines()[:-1]]
        assert [line for line in lines[:-1] if line[-1] not in ";,"] == []
        assert re.fullmatch(r".*revision \d+", lines[-1])
    # [C] the published exponent is a third, not a decimal cut short
    assert "better near -1/3" in text


def pages_of(text: str) -> list[str]:
    """What the handbook says of each measure, from its id on."""
    return re.split(r"^    id \w+;", text, flags=re.MULTILINE)[1:]


def test_every_measure_has_a_formula_edge_cases_and_a_source_of_its_own() -> None:
    assert [one.id for one in MEASURES if not (one.formula and one.edges)] == []
    borrowed = re.compile(r"\b(MEASURES|DESIGN)\b")
    texts = {one.id: (one.meaning, one.formula, one.edges, one.source) for one in MEASURES}
    assert [name for name, said in texts.items() if borrowed.search(" ".join(said))] == []


def test_the_version_is_the_one_of_the_distribution() -> None:
    assert linnet("--version").stdout.startswith("linnet ")
