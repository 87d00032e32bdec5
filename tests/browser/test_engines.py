"""The same day on the tablet in Chromium, WebKitGTK and Firefox, with every pointer they have."""

import json
import math
import time
from collections.abc import Iterator

import pytest
from engine import POLL_S, Engine, Points
from engines import BY_NAME, POINTERS
from gate import Gate
from harbour import Harbour, item
from tablet_face import TabletFace, on_disk

pytestmark = [pytest.mark.browser, pytest.mark.parametrize("engine", BY_NAME, indirect=True)]

LINE = item("quay-edge", item_id="line", repetitions=6)
LINE_Y_MM, LINE_FROM_MM, LENGTH_MM = 68.0, 13.5, 180.0
STEPS = 200
PLACE_ERROR_MM = 0.02
# Three halves of a pixel: one engine rounds, another cuts off.
WHOLE_PX_ERROR_MM = 0.3
OWN_FLAGS = {"pen": set(), "touch": {"finger"}, "mouse": {"mouse"}}
# A busy machine lets these engines report late: it is said of the record, and is true.
LATE_FLAGS = {"low_rate", "gaps_filled", "gap_too_long"}


def wave() -> Points:
    """A gentle wave along Quay Edge, slow at its ends and never less than a pixel a step. [mm]"""
    shares = [i / STEPS for i in range(STEPS + 1)]
    eased = [share - 0.75 * math.sin(math.tau * share) / math.tau for share in shares]
    return [(LINE_FROM_MM + LENGTH_MM * s, LINE_Y_MM + 2 * math.sin(math.tau * s)) for s in eased]


def draw(tablet: TabletFace, points_mm: Points) -> Points:
    """Draw with the engine's finest pointer; where its samples must be. [mm]"""
    engine = tablet.engine
    kind = engine.pointers[0]
    engine.draw(tablet.px(points_mm), kind)
    return engine.reported(points_mm, kind)


def arrived(harbour: Harbour, before: list[str], limit_s: float = 30.0) -> set[str]:
    """Wait until there are trials that were not stored before."""
    limit = time.monotonic() + limit_s
    while not (new := set(harbour.stored()) - set(before)):
        assert time.monotonic() < limit, "nothing arrived"
        time.sleep(POLL_S)
    return new


@pytest.fixture
def tablet(engine: Engine, harbour: Harbour) -> Iterator[TabletFace]:
    """The page, paired and calibrated, with a line's guide shown; no fault in it at the end."""
    harbour.plan(LINE)
    harbour.start()
    face = TabletFace(engine, harbour)
    face.begin()
    yield face
    assert face.faults() == []


@pytest.fixture
def gate(harbour: Harbour) -> Iterator[Gate]:
    with_server = Gate(harbour.port)
    yield with_server
    with_server.close()


@pytest.mark.parametrize("kind", POINTERS)
def test_a_line_arrives_byte_for_byte_and_as_drawn(
    engine: Engine, tablet: TabletFace, harbour: Harbour, kind: str
) -> None:
    before = harbour.stored()
    drawn_mm = engine.reported(wave(), kind)
    text = tablet.finish(wave(), kind)
    tablet.drained()
    document = json.loads(text)
    trial_id = document["trial_id"]
    assert harbour.stored() == [*before, trial_id]
    assert on_disk(harbour, trial_id) == text
    assert document["ended_by"] == "stop_target"
    samples = document["samples"]
    assert len(samples["t_ms"]) == len(drawn_mm)
    assert set(samples["stroke"]) == {0}
    worst_mm = max(
        math.hypot(x - to_x, y - to_y)
        for x, y, (to_x, to_y) in zip(samples["x_mm"], samples["y_mm"], drawn_mm, strict=True)
    )
    assert worst_mm < (WHOLE_PX_ERROR_MM if engine.whole_px else PLACE_ERROR_MM)
    assert document["device"]["pointer_type"] == kind
    assert ("pressure" in samples) == (kind == "pen" and "pressure" not in engine.cannot)
    expected = OWN_FLAGS[kind] | ({"coarse_positions"} if engine.whole_px else set())
    late = set() if engine.sets_times else LATE_FLAGS
    assert set(harbour.report(trial_id)["quality"]["flags"]) - late == expected


def test_lines_wait_for_a_killed_server_and_are_stored_once(
    tablet: TabletFace, harbour: Harbour
) -> None:
    before = harbour.stored()
    harbour.kill()
    for number in (1, 2):
        draw(tablet, wave())
        waiting = tablet.trials_waiting(number)
        tablet.shown(number + 1)
    harbour.start()
    tablet.drained()
    assert sorted(harbour.stored()) == sorted([*before, *waiting])
    assert {one: on_disk(harbour, one) for one in waiting} == waiting


@pytest.mark.parametrize("cut", ["line", "offline"])
def test_lines_wait_for_a_lost_network_and_are_stored_once(
    engine: Engine, harbour: Harbour, gate: Gate, cut: str
) -> None:
    harbour.plan(LINE)
    harbour.start()
    before = harbour.stored()
    tablet = TabletFace(engine, harbour, gate.url)
    tablet.begin()
    if cut == "line":
        gate.shut()
    else:
        engine.set_offline(True)
    draw(tablet, wave())
    (trial_id,) = waiting = tablet.trials_waiting(1)
    assert harbour.stored() == before
    if cut == "line":
        gate.open()
    else:
        engine.set_offline(False)
    tablet.drained()
    assert harbour.stored() == [*before, trial_id]
    assert on_disk(harbour, trial_id) == waiting[trial_id]
    assert tablet.faults() == []


def test_a_line_begun_is_kept_when_the_page_is_left_and_the_child_goes_on(
    tablet: TabletFace, harbour: Harbour
) -> None:
    before = harbour.stored()
    harbour.kill()
    drawn_mm = draw(tablet, wave()[:120])
    tablet.leave()
    harbour.start()
    tablet.open()
    (trial_id,) = arrived(harbour, before)
    document = json.loads(on_disk(harbour, trial_id))
    assert document["ended_by"] == "left_page"
    assert len(document["samples"]["t_ms"]) == len(drawn_mm)
    tablet.choose()
    following = json.loads(tablet.finish(wave(), tablet.engine.pointers[0]))
    assert (following["seq"], following["plan"]["repetition"]) == (2, 2)


def test_a_page_left_in_the_middle_of_a_write_opens_again(
    tablet: TabletFace, harbour: Harbour
) -> None:
    for number in range(1, LINE["repetitions"]):
        before = harbour.stored()
        # The line is written down all the time, so that some write is under way.
        tablet.engine.js("""() => {
            const { setInterval } = globalThis;
            globalThis.setInterval = (run) => setInterval(run, 20);
        }""")
        tablet.engine.draw(tablet.px(wave()[:120:3]), tablet.engine.pointers[0])
        tablet.leave()
        tablet.open()
        (trial_id,) = arrived(harbour, before)
        assert json.loads(on_disk(harbour, trial_id))["seq"] == number
        tablet.choose()


def test_a_finished_line_outlives_a_killed_browser(
    engine: Engine, tablet: TabletFace, harbour: Harbour
) -> None:
    before = harbour.stored()
    harbour.kill()
    drawn_mm = draw(tablet, wave())
    (trial_id,) = waiting = tablet.trials_waiting(1)
    engine.kill()
    harbour.start()
    engine.start()
    tablet.open()
    tablet.drained()
    assert harbour.stored() == [*before, trial_id]
    assert on_disk(harbour, trial_id) == waiting[trial_id]
    assert len(json.loads(waiting[trial_id])["samples"]["t_ms"]) == len(drawn_mm)
    # The child goes on where the plan was left, without pairing or calibrating again.
    tablet.choose()
    assert json.loads(tablet.finish(wave(), engine.pointers[0]))["seq"] == 2
