"""What is drawn on the tablet page is what arrives, once, and is scored as drawn. In Chromium."""

import asyncio
import math
from typing import Any

import numpy as np
import pytest
from hands import Drawn, Points
from harbour import Harbour, item
from quay_edge import LENGTH_MM, LINE, LINE_FROM_MM, LINE_Y_MM, beside, flat
from tab import Tab, drive

pytestmark = pytest.mark.browser

# What the adult says of the tablet before each of these trials.
AS_SET_UP = {"tablet_at": "centred", "surface": "flat"}
BRIDGE = item("high-bridge", item_id="bridge")


def parallel(points_mm: list[list[float]], offset_mm: float, count: int = 800) -> Points:
    """The parallel curve of a smooth guide, by its normals."""
    points = np.array(points_mm)
    s_mm = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    at_mm = np.linspace(0.0, s_mm[-1], count)
    along = np.column_stack([np.interp(at_mm, s_mm, column) for column in points.T])
    tangent = np.gradient(along, axis=0)
    tangent /= np.hypot(*tangent.T)[:, None]
    normal = np.column_stack([tangent[:, 1], -tangent[:, 0]])
    return [tuple(point) for point in (along + offset_mm * normal).tolist()]


def worst_errors(tab: Tab, document: dict[str, Any], drawn: Drawn, shown_ms: float) -> Any:
    """Largest error of time [ms] and of place [mm] over all samples of one stroke."""
    samples = document["samples"]
    assert len(samples["t_ms"]) == len(drawn.times_ms)
    size = tab.page.viewport_size
    assert size is not None
    left_mm = (size["width"] / tab.px_per_mm - 207.0) / 2
    top_mm = (size["height"] / tab.px_per_mm - 136.0) / 2
    time_ms = max(
        abs(got + shown_ms - sent)
        for got, sent in zip(samples["t_ms"], drawn.times_ms, strict=True)
    )
    place_mm = max(
        math.hypot(gx - (px / tab.px_per_mm - left_mm), gy - (py / tab.px_per_mm - top_mm))
        for gx, gy, (px, py) in zip(samples["x_mm"], samples["y_mm"], drawn.points_px, strict=True)
    )
    return time_ms, place_mm


TRUTHS = {
    # [C] a line 2 mm beside a straight guide is 2 mm from it everywhere.
    "line": (LINE, lambda guide: beside(lambda share: 2.0), 2.0),
    # [C] mean of 3 |sin| over whole half waves is 6 / pi.
    "sine": (LINE, lambda guide: beside(lambda s: 3.0 * math.sin(10 * math.pi * s)), 6 / math.pi),
    # [C] a parallel curve is as far from its guide as it is shifted.
    "bridge": (BRIDGE, lambda guide: parallel(guide["points_mm"], 2.0), 2.0),
}


@pytest.mark.parametrize("name", TRUTHS)
def test_a_pen_stroke_arrives_whole_and_is_scored_as_drawn(
    harbour: Harbour, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    asked, path, truth_mm = TRUTHS[name]
    harbour.plan(asked)
    harbour.start()
    before = set(harbour.stored())

    async def scenario(tab: Tab) -> None:
        shown_ms = await tab.begin()
        drawn = await tab.pen(tab.all_px(path(asked["guide"])))
        document = await tab.document()
        await tab.drained()
        assert document["ended_by"] == "stop_target"
        assert document["device"]["coalesced"] is True
        assert document["device"]["calibrated"] is True
        assert document["task"] == asked["task"]
        assert document["guide"] == asked["guide"]
        assert document["condition"] == asked["condition"] | AS_SET_UP
        time_ms, place_mm = worst_errors(tab, document, drawn, shown_ms)
        with harbour.signed_in() as client:
            trace = client.get(f"/api/trials/{document['trial_id']}/trace").json()
        report = harbour.report(document["trial_id"])
        mean_mm = report["measures"]["deviation_mean_abs"]["value"]
        with capsys.disabled():
            print(
                f"\n{name}: {len(drawn.times_ms)} samples, worst time {time_ms:.4f} ms, worst "
                f"place {place_mm:.6f} mm, mean deviation {mean_mm:.4f} mm, drawn {truth_mm:.4f} mm"
            )
        assert time_ms < 1.0
        assert place_mm < 0.01
        assert mean_mm == pytest.approx(truth_mm, abs=0.05)
        assert trace["samples"] == document["samples"]
        assert report["quality"]["sample_rate_hz"] == pytest.approx(200, rel=0.02)

    drive(harbour, scenario)
    assert len(set(harbour.stored()) - before) == 1


def test_the_guide_is_drawn_at_true_scale(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin(px_per_mm=4.7)
        assert tab.px_per_mm == pytest.approx(4.7, abs=0.01)
        box = await tab.page.evaluate(
            """() => {
                const path = document.querySelector("#guide .water");
                const { x, y, width } = path.getBoundingClientRect();
                const drawn_mm = (name) =>
                    Number(document.querySelector(`#guide .${name}`).getAttribute("stroke-width"));
                return { x, y, width, water_mm: drawn_mm("water"), edge_mm: drawn_mm("edge") };
            }"""
        )
        # The box of a path is that of its middle line. [C] 180 mm at the measured scale
        assert box["width"] == pytest.approx(LENGTH_MM * tab.px_per_mm, abs=0.5)
        left_px, middle_px = tab.px(LINE_FROM_MM, LINE_Y_MM)
        assert box["x"] == pytest.approx(left_px, abs=0.5)
        assert box["y"] == pytest.approx(middle_px, abs=0.5)
        # The edge line lies half inside and half outside of the corridor's 12 mm.
        assert (box["water_mm"] + box["edge_mm"]) / 2 == pytest.approx(12.0)

    drive(harbour, scenario)


def test_a_palm_during_a_pen_stroke_is_ignored(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        points = tab.all_px(beside(flat))
        first = await tab.pen([*points[:300], points[299]], held=True)
        palm = tab.px(120, 110)
        await tab.touch("Start", (5, *palm))
        await tab.touch("Move", (5, palm[0] + 9, palm[1] + 7))
        await tab.rest_of_stroke(points[300:])
        await tab.touch("Move", (5, palm[0] + 18, palm[1] + 14))
        await tab.touch("End")
        document = await tab.document()
        samples = document["samples"]
        assert len(samples["t_ms"]) == len(first.times_ms) + len(points[300:])
        assert set(samples["stroke"]) == {0}
        assert max(samples["y_mm"]) < LINE_Y_MM + 0.01
        assert document["device"]["pointer_type"] == "pen"
        assert document["device"]["touches_ignored"] == 1

    drive(harbour, scenario)


def test_a_palm_that_lands_first_is_set_aside_when_the_pen_comes(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        palm = tab.px(120, 110)
        await tab.touch("Start", (5, *palm))
        await tab.touch("Move", (5, palm[0] + 40, palm[1] + 30))
        drawn = await tab.pen(tab.all_px(beside(flat)))
        await tab.touch("End")
        document = await tab.document()
        assert document["device"]["pointer_type"] == "pen"
        assert len(document["samples"]["t_ms"]) == len(drawn.times_ms)
        assert document["set_aside"]["reason"] == "touch_before_pen"
        assert document["set_aside"]["x_mm"][0] == pytest.approx(120, abs=0.01)
        await tab.drained()

    drive(harbour, scenario)


def test_a_pen_after_a_fingers_line_takes_nothing_away(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        await tab.finger(tab.all_px(beside(flat, 100)))
        # Before the line is over, a pen makes a small line of its own below it.
        drawn = await tab.pen(tab.all_px([(60 + i, 100) for i in range(20)]))
        await asyncio.sleep(2)
        await tab.open_strip()
        await tab.page.click("#strip-done")
        document = await tab.document()
        await tab.drained()
        device, samples = document["device"], document["samples"]
        assert device["pointer_type"] == "touch"
        assert device["pointer_types"] == ["touch", "pen"]
        assert "set_aside" not in document
        assert samples["stroke"].count(1) == len(drawn.times_ms)
        finger = samples["stroke"].count(0)
        assert finger >= 100
        assert samples["x_mm"][0] == pytest.approx(LINE_FROM_MM, abs=0.01)
        assert samples["x_mm"][finger - 1] == pytest.approx(LINE_FROM_MM + LENGTH_MM, abs=0.01)
        assert all(one is None for one in samples["pressure"][:finger])
        assert all(one is not None for one in samples["pressure"][finger:-1])
        report = harbour.report(document["trial_id"])
        assert report["pointer_type"] == "touch"
        assert report["measures"]["completion"]["value"] == pytest.approx(1.0, abs=0.01)

    drive(harbour, scenario)


def test_pointercancel_ends_the_stroke_and_adds_no_point(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        await tab.page.evaluate(
            "addEventListener('pointerdown', e => { globalThis.tip = e.pointerId; }, true)"
        )
        points = tab.all_px(beside(flat, 200))
        half = await tab.pen(points[:101], held=True)
        # A real one cannot be provoked for a pen.
        await tab.page.evaluate(
            """document.getElementById("draw").dispatchEvent(new PointerEvent("pointercancel", {
                pointerId: globalThis.tip, pointerType: "pen", clientX: 0, clientY: 0,
                bubbles: true }))"""
        )
        await tab.rest_of_stroke(points[101:120])
        rest = await tab.pen(points[100:])
        samples = (await tab.document())["samples"]
        assert samples["stroke"].count(0) == len(half.times_ms)
        assert samples["stroke"].count(1) == len(rest.times_ms)
        assert min(samples["x_mm"]) > LINE_FROM_MM - 0.01

    drive(harbour, scenario)
