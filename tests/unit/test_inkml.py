"""Ink: what is read of InkML, what is refused, and what is never claimed of it."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner

from server.cli import app
from server.faults import BadDocument
from server.inkml import MAX_ELEMENTS, read_ink
from server.inkml_values import BadPoint, Channel, read_points
from server.scoring import score
from tests.documents import SECRET

pytestmark = pytest.mark.filterwarnings("error")

REFERENCE = Path(__file__).parents[2] / "fixtures" / "reference"
HELLO = REFERENCE / "inkml_hello.inkml"
X, Y = Channel("X"), Channel("Y")
S1, S2 = (Channel(name, boolean=True, intermittent=True) for name in ("S1", "S2"))


def ink(inside: str, head: str = "") -> bytes:
    return f'<ink xmlns="http://www.w3.org/2003/InkML">{head}{inside}</ink>'.encode()


def layout(*channels: str, more: str = "") -> str:
    inner = "".join(f"<channel {one}/>" for one in channels)
    return f"<traceFormat>{inner}{more}</traceFormat>"


def test_the_hello_of_the_recommendation_is_five_strokes() -> None:
    expected = json.loads((REFERENCE / "inkml_hello.json").read_text())
    document = read_ink(HELLO.read_bytes())
    trace = document.trace
    assert np.bincount(trace.stroke).tolist() == expected["points"]  # [P] counted in the source
    for number, stroke in enumerate(expected["strokes"]):
        mine = trace.xy_mm[trace.stroke == number]
        assert mine[0].tolist() == stroke["first"]  # [P]
        assert mine[-1].tolist() == stroke["last"]  # [P]
        assert mine.min(axis=0).tolist() == stroke["least"]  # [P]
        assert mine.max(axis=0).tolist() == stroke["greatest"]  # [P]
    assert trace.t_s is None
    assert trace.pressure is None
    assert not document.calibrated


def test_lengths_of_the_hello_strokes_are_sums_of_right_triangles() -> None:
    trace = read_ink(HELLO.read_bytes()).trace
    first = trace.xy_mm[trace.stroke == 0][:4]
    steps = np.hypot(*np.diff(first, axis=0).T)
    # [C] legs 1 and 14 three times
    assert steps == pytest.approx([np.sqrt(197.0)] * 3, rel=1e-12)
    third = trace.xy_mm[trace.stroke == 2]
    # [C] legs of all steps of the upright stroke, by hand from the source
    legs = [(1, 14), (1, 14), (2, 14), (1, 14), (0, 14), (1, 14), (1, 14), (4, 14), (1, 14)]
    legs += [(3, 14), (3, 14)]
    length = sum(np.sqrt(a * a + b * b) for a, b in legs)
    assert np.hypot(*np.diff(third, axis=0).T).sum() == pytest.approx(length, rel=1e-12)


def test_differences_and_intermittent_channels_are_those_of_the_recommendations_table() -> None:
    """[M] the worked example of section 3.2, its sums computed again by hand."""
    table = json.loads((REFERENCE / "inkml_differences.json").read_text())
    values = read_points(table["trace"], [X, Y, S1, S2])
    assert values[:, :2].tolist() == table["xy"]
    switches = [[None if np.isnan(v) else bool(v) for v in row] for row in values[:, 2:]]
    assert switches == table["switches"]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("1 2, 3 4", [[1, 2], [3, 4]]),
        ("1 2, 3 4,", [[1, 2], [3, 4]]),  # a comma may end a trace
        ("  1  2 ,\n3 4 ", [[1, 2], [3, 4]]),
        ("-1-2,-.5 2e1", [[-1, -2], [-0.5, 20]]),
        ("- 1 2., 1E-1 3", [[-1, 2], [0.1, 3]]),
        ("#FF -#1A, #0 1", [[255, -26], [0, 1]]),  # hexadecimal
        ("5 5, * *, 7 *", [[5, 5], [5, 5], [7, 5]]),  # a wild card keeps an explicit value
        ("5 5,'2'-1,3 *,* *", [[5, 5], [7, 4], [10, 3], [13, 2]]),  # and keeps a difference going
        # 2, then 2 + 1, 3 + 1, 4 + 1: a second difference is added to the first
        ("0 0,'2'0,\"1'1,1 1,* *", [[0, 0], [2, 0], [5, 1], [9, 2], [14, 3]]),
        ("0 0,'2'2,!9!9,1 1", [[0, 0], [2, 2], [9, 9], [1, 1]]),  # back to explicit values
        ("1 2, ? 4", [[1, 2], [None, 4]]),
        ("", []),
    ],
)
def test_a_point_is_read_as_the_recommendation_says(text: str, expected: list[list[float]]) -> None:
    found = read_points(text, [X, Y]).tolist()
    assert [[None if np.isnan(v) else v for v in row] for row in found] == expected  # [C]


@pytest.mark.parametrize(
    ("text", "number", "says"),
    [
        ("1", 1, "fewer values"),
        ("1 2,, 3 4", 2, "fewer values"),
        ("1 2, 3 4 5", 2, "more values"),
        (f"1 2, 3 {SECRET}", 2, "no value"),
        ("1 2, 3 T", 2, "true and false"),
        ("'1 2", 1, "explicit value before"),
        ('1 2,"1 2', 2, "a first one"),
        ("1 2,'*'1", 2, "explicit value before"),
        ("* 2", 1, "explicit value before"),
        ("1 1e999", 1, "not finite"),
        ("1 #" + "F" * 400, 1, "not finite"),
        ("1 +2", 1, "no value"),
        ("1 NaN", 1, "no value"),
    ],
)
def test_a_point_that_is_not_of_the_language_is_named(text: str, number: int, says: str) -> None:
    with pytest.raises(BadPoint) as caught:
        read_points(text, [X, Y])
    assert caught.value.number == number
    assert says in caught.value.says
    assert SECRET not in caught.value.says


@given(st.text(alphabet="0123456789 ,.'\"!*?TF-#eE\n", max_size=60))
def test_any_text_in_a_trace_is_read_or_refused_and_never_gives_a_nan(text: str) -> None:
    try:
        document = read_ink(ink(f"<trace>{text}</trace>"))
    except BadDocument as bad:
        assert bad.faults  # noqa: PT017 - reading may well succeed
        return
    assert np.isfinite(document.trace.xy_mm).all()
    document.to_trial()


@given(st.binary(max_size=80))
def test_any_bytes_are_ink_or_refused(raw: bytes) -> None:
    for whole in (raw, b"<ink>" + raw + b"</ink>"):
        try:
            read_ink(whole)
        except BadDocument as bad:
            assert SECRET not in str(bad)  # noqa: PT017


def test_units_of_length_become_millimetres_and_calibrate() -> None:
    for unit, mm in {"mm": 1.0, "cm": 10.0, "in": 25.4, "pt": 25.4 / 72, "m": 1000.0}.items():
        head = layout(f'name="X" units="{unit}"', f'name="Y" units="{unit}"')
        document = read_ink(ink("<trace>1 2, 3 4</trace>", head))
        assert document.trace.xy_mm == pytest.approx(np.array([[1, 2], [3, 4]]) * mm)  # [C]
        assert document.calibrated


@pytest.mark.parametrize("unit", ['units="dev"', 'units="px"', 'units="furlong"', ""])
def test_lengths_that_are_not_known_are_not_claimed(unit: str) -> None:
    head = layout(f'name="X" {unit}', 'name="Y" units="mm"')
    document = read_ink(ink("<trace>1 2, 3 4</trace>", head))
    assert not document.calibrated
    report = score(document)
    assert "uncalibrated" in report["quality"]["flags"]


def test_a_device_that_tells_its_resolution_is_calibrated() -> None:
    source = (
        "<inkSource>" + layout('name="X"', 'name="Y"') + "<channelProperties>"
        '<channelProperty channel="X" name="resolution" value="100" units="1/mm"/>'
        '<channelProperty channel="Y" name="resolution" value="2540" units="1/in"/>'
        "</channelProperties></inkSource>"
    )
    document = read_ink(ink("<trace>1000 2000, 3000 4000</trace>", source))
    assert document.calibrated
    # [C] 100 and 2540 / 25.4 = 100 units a mm
    assert document.trace.xy_mm == pytest.approx(np.array([[10, 20], [30, 40]]))


def test_an_axis_that_points_the_other_way_is_turned() -> None:
    head = layout('name="X" units="mm"', 'name="Y" units="mm" orientation="-ve"')
    document = read_ink(ink("<trace>1 2, 3 -4</trace>", head))
    assert document.trace.xy_mm.tolist() == [[1, -2], [3, 4]]


def test_times_begin_with_the_first_point_and_only_if_every_point_has_one() -> None:
    head = layout('name="X"', 'name="Y"', 'name="T" units="ms"')
    timed = read_ink(ink("<trace>0 0 5000, 1 0 5010</trace><trace>2 0 5500</trace>", head))
    assert timed.trace.t_s == pytest.approx([0.0, 0.010, 0.5])  # [C]
    missing = read_ink(ink("<trace>0 0 5000, 1 0 ?</trace>", head))
    assert missing.trace.t_s is None
    assert len(missing.trace) == 2
    without = read_ink(ink("<trace>0 0, 1 0</trace>", layout('name="X"', 'name="Y"')))
    assert without.trace.t_s is None


def test_the_offset_of_a_trace_moves_its_times() -> None:
    head = layout('name="X"', 'name="Y"', 'name="T" units="s"')
    inside = '<trace timeOffset="0">0 0 0</trace><trace timeOffset="1500">1 0 0.25</trace>'
    assert read_ink(ink(inside, head)).trace.t_s == pytest.approx([0.0, 1.75])  # [C]


def test_force_is_a_share_of_the_range_that_the_ink_tells() -> None:
    head = layout('name="X"', 'name="Y"', 'name="F" max="1024"')
    known = read_ink(ink("<trace>0 0 256, 1 0 ?, 2 0 1024</trace>", head)).trace.pressure
    assert known is not None
    assert known[[0, 2]].tolist() == [0.25, 1.0]  # [C]
    assert np.isnan(known[1])
    head = layout('name="X"', 'name="Y"', 'name="F"')
    assert read_ink(ink("<trace>0 0 256</trace>", head)).trace.pressure is None


def test_a_trace_takes_its_own_context_then_its_groups_then_the_last_one() -> None:
    swapped = (
        '<context xml:id="{id}"><traceFormat><channel name="Y" units="{unit}"/>'
        '<channel name="X" units="{unit}"/></traceFormat></context>'
    )
    head = f"<definitions>{swapped.format(id='mm', unit='mm')}</definitions>"
    inside = (
        "<trace>1 2</trace>"
        '<trace contextRef="#mm">1 2</trace>'
        '<traceGroup contextRef="#mm"><trace>1 2</trace><traceGroup><trace>1 2</trace>'
        "</traceGroup></traceGroup>"
        "<trace>1 2</trace>"
        + swapped.format(id="cm", unit="cm")
        + '<trace>1 2</trace><context contextRef="#mm"/><trace>1 2</trace>'
    )
    found = read_ink(ink(inside, head)).trace.xy_mm.tolist()
    assert found == [[1, 2], [2, 1], [2, 1], [2, 1], [1, 2], [20, 10], [2, 1]]


def test_a_lifted_pen_leaves_no_line_and_a_continued_trace_is_one_stroke() -> None:
    inside = (
        '<trace type="penUp">9 9, 8 8</trace><trace continuation="begin">0 0, 1 0</trace>'
        '<trace continuation="end">2 0</trace><trace>5 5</trace>'
    )
    trace = read_ink(ink(inside)).trace
    assert trace.xy_mm.tolist() == [[0, 0], [1, 0], [2, 0], [5, 5]]
    assert trace.stroke.tolist() == [0, 0, 0, 1]


def test_everything_else_in_the_ink_is_passed_over() -> None:
    inside = f'<annotation type="writer">{SECRET}</annotation><traceView traceDataRef="#a"/>'
    assert len(read_ink(ink(inside + '<trace xml:id="a" brushRef="#b">0 0</trace>')).trace) == 1


BOMB = b'<!DOCTYPE ink [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;">]><ink><trace>&b;</trace></ink>'
OUTSIDE = b'<!DOCTYPE ink SYSTEM "http://localhost/ink.dtd"><ink><trace>1 2</trace></ink>'
CIRCLE = '<context xml:id="a" contextRef="#b"/><context xml:id="b" contextRef="#a"/>'
METRES = layout('name="X" units="m"', 'name="Y" units="m"')
SECONDS = layout('name="X"', 'name="Y"', 'name="T" units="s"')
MAPPED = '<traceFormat><channel name="X"><mapping type="affine"/></channel><channel name="Y"/>'


@pytest.mark.parametrize(
    ("raw", "says", "status"),
    [
        (b"<ink><trace>1 2</ink>", "is not XML: look at line 1, column", 422),
        (b"<" + SECRET.encode(), "is not XML", 422),
        (b"<?xml version='1.0' encoding='harbour'?><ink/>", "is not XML", 422),
        (b"<svg/>", "outermost element must be ink", 422),
        (BOMB, "entities", 422),
        (OUTSIDE, "document type", 422),
        (ink("<trace>1 2, 3</trace>"), "Trace 1, point 2: it holds fewer", 422),
        (ink("<trace>1 2</trace><trace>1 2 3</trace>"), "Trace 2, point 1: it holds more", 422),
        (ink("<trace>1 20000</trace>"), "farther than 10000 mm", 422),
        (ink('<trace contextRef="#gone">1 2</trace>'), "does not hold", 422),
        (ink("<trace>1 2</trace>", CIRCLE), "in a circle", 422),
        (ink("<trace>1 2</trace>", layout('name="X"')), "no channels X and Y", 422),
        (ink("<trace>1 2</trace>", layout(*['name="X"'] * 2, 'name="Y"')), "a channel twice", 422),
        (ink("<trace>1 2</trace>", MAPPED + "</traceFormat>"), "maps its channels", 422),
        (
            ink("<trace>1 2 0, 1 3 90000000</trace>", layout(*(f'name="{c}"' for c in "XYT"))),
            "more than 24 hours",
            422,
        ),
        # Numbers that a unit, an offset or a difference drives out of what a float can hold.
        (ink("<trace>1e307 2</trace>", METRES), "farther than 10000 mm", 422),
        (ink("<trace>1 2 1e308, 1 3 -1e308</trace>", SECONDS), "more than 24 hours", 422),
        (
            ink('<trace timeOffset="1e308">1 2 1.7976e308, 1 3 1.7976e308</trace>', SECONDS),
            "more than 24 hours",
            422,
        ),
        (
            ink("<trace>1 2</trace>", layout(*(f'name="C{k}"' for k in range(40)))),
            "at most 32 channels",
            413,
        ),
        (ink("<trace/>" * MAX_ELEMENTS), "elements", 413),
        (ink("<trace>" + "1 2," * 200_001 + "</trace>"), "at most 200000 points", 413),
        (b"<ink>" + b" " * (16 * 1024 * 1024), "bytes", 413),
    ],
)
def test_bad_ink_is_refused_with_a_sentence_and_without_repeating_it(
    raw: bytes, says: str, status: int
) -> None:
    with pytest.raises(BadDocument) as caught:
        read_ink(raw)
    (fault,) = caught.value.faults
    assert caught.value.status == status
    assert says in fault.detail
    assert fault.detail.endswith((".", "?"))
    assert SECRET not in str(caught.value)
    assert caught.value.__suppress_context__ or caught.value.__context__ is None


def test_ink_without_times_or_guide_gives_reasons_and_no_number_in_their_place() -> None:
    report = score(read_ink(HELLO.read_bytes()))
    reasons = {name: one.get("reason") for name, one in report["measures"].items()}
    assert reasons["duration"] == "no_time"
    assert reasons["deviation_mean_abs"] == "rate_too_low"  # points lie up to 14 mm apart
    assert reasons["steering_index_of_difficulty"] == "no_guide"
    assert report["measures"]["lift_count"]["value"] == 4.0  # [C] five strokes


def test_when_the_guide_was_shown_is_not_known_from_ink() -> None:
    head = layout('name="X" units="mm"', 'name="Y" units="mm"', 'name="T" units="ms"')
    points = ", ".join(f"{0.5 * k} 0 {8 * k}" for k in range(300))
    report = score(read_ink(ink(f"<trace>{points}</trace>", head)))
    assert report["measures"]["initiation_time"] == {
        "value": None,
        "unit": "s",
        "reason": "no_time",
    }
    assert report["measures"]["duration"]["value"] == pytest.approx(2.392)  # [C] 299 * 8 ms
    assert report["measures"]["completion"]["reason"] == "no_guide"


def test_the_same_ink_has_the_same_id_and_other_ink_another() -> None:
    raw = HELLO.read_bytes()
    assert read_ink(raw).trial_id == read_ink(raw).trial_id
    assert read_ink(raw).trial_id != read_ink(raw + b"\n").trial_id


def test_the_command_measures_ink_against_the_guide_it_is_given(tmp_path: Path) -> None:
    file, guide = tmp_path / "line.inkml", tmp_path / "guide.json"
    head = layout('name="X" units="mm"', 'name="Y" units="mm"')
    points = ", ".join(f"{20 + k} 62" for k in range(161))
    file.write_bytes(ink(f"<trace>{points}</trace>", head))
    guide.write_text(json.dumps({"points_mm": [[20, 60], [180, 60]], "corridor_mm": 8}))
    result = CliRunner().invoke(app, ["score", "--json", "--guide", str(guide), str(file)])
    assert result.exit_code == 0
    report = json.loads(result.stdout)
    assert report["measures"]["deviation_bias"]["value"] == pytest.approx(-2.0)  # [C] 2 mm right
    assert report["measures"]["completion"]["value"] == pytest.approx(1.0)
    assert report["measures"]["pause_count"]["reason"] == "no_time"
