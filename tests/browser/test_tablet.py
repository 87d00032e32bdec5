"""The tablet page in Chromium: what is drawn is what arrives, once, and is scored as drawn."""

import asyncio
import math
from typing import Any

import numpy as np
import pytest
from harbour import Harbour, item
from tab import Drawn, Points, Tab, drive

pytestmark = pytest.mark.browser

# What the adult says of the tablet before each of these trials.
AS_SET_UP = {"tablet_at": "centred", "surface": "flat"}
LINE_Y_MM = 68.0
LINE_FROM_MM, LINE_TO_MM = 13.5, 193.5
LENGTH_MM = LINE_TO_MM - LINE_FROM_MM

LINE = item("quay-edge", item_id="line", repetitions=3)
BRIDGE = item("high-bridge", item_id="bridge")
SWELL = item("swell", item_id="swell")


def beside(offset_mm: Any, count: int = 600) -> Points:
    """A line drawn beside Quay Edge; `offset_mm` gives the distance for the share drawn."""
    return [
        (LINE_FROM_MM + LENGTH_MM * i / count, LINE_Y_MM + offset_mm(i / count))
        for i in range(count + 1)
    ]


def flat(share: float) -> float:
    return 0.0


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
        await rest_of_stroke(tab, points[300:])
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


async def rest_of_stroke(tab: Tab, points_px: Points) -> None:
    """Go on with a pen that is down, to the lift."""
    last = len(points_px) - 1
    for i, (x, y) in enumerate(points_px):
        await tab.hand.send(
            "Input.dispatchMouseEvent",
            {
                "type": "mouseReleased" if i == last else "mouseMoved",
                "x": x,
                "y": y,
                "button": "left",
                "buttons": 0 if i == last else 1,
                "pointerType": "pen",
                "force": 0.0 if i == last else 0.4,
            },
        )


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
        await rest_of_stroke(tab, points[101:120])
        rest = await tab.pen(points[100:])
        samples = (await tab.document())["samples"]
        assert samples["stroke"].count(0) == len(half.times_ms)
        assert samples["stroke"].count(1) == len(rest.times_ms)
        assert min(samples["x_mm"]) > LINE_FROM_MM - 0.01

    drive(harbour, scenario)


def test_a_lift_outside_the_stop_goes_on_and_the_adult_ends_it(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        await tab.pen(tab.all_px(beside(flat)[:400]))
        await asyncio.sleep(2.2)
        assert tab.puts == []
        await tab.open_strip()
        await tab.page.click('[data-mark="helped"]')
        document = await tab.document()
        await tab.drained()
        assert document["ended_by"] == "adult"
        assert [mark["kind"] for mark in document["marks"]] == ["strip_opened"]
        marks = harbour.facts(document["trial_id"])["marks"]
        assert [mark["outcome"] for mark in marks] == ["finished"]
        assert marks[0]["help"] == {"given": True}

    drive(harbour, scenario)


def test_a_lift_in_the_stop_before_half_the_line_ends_nothing(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        await tab.pen(tab.all_px(beside(flat)[400:]))
        await asyncio.sleep(2.2)
        assert tab.puts == []

    drive(harbour, scenario)


def test_a_line_left_alone_ends_where_the_plan_says_so(harbour: Harbour) -> None:
    harbour.plan(item("quay-edge", item_id="line", show={"idle_end_s": 1}))
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        await tab.pen(tab.all_px(beside(flat)[:300]))
        assert (await tab.document())["ended_by"] == "idle"

    drive(harbour, scenario)


def test_pictures_follow_each_other_and_a_spoilt_one_comes_again(harbour: Harbour) -> None:
    harbour.plan(item("quay-edge", item_id="one"), SWELL)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        await tab.pen(tab.all_px(beside(flat)))
        first = await tab.document()
        await tab.shown(2)
        await tab.open_strip()
        assert await tab.page.inner_text("#strip-title") == "Swell"
        await tab.page.click('[data-mark="spoilt"]')
        await tab.shown(3)
        await tab.pen(tab.all_px(beside(flat)))
        second = await tab.document(2)
        assert [first["plan"]["item_id"], second["plan"]["item_id"]] == ["one", "one"]
        assert [first["plan"]["repetition"], second["plan"]["repetition"]] == [1, 2]
        assert [first["seq"], second["seq"]] == [1, 2]
        assert second["marks"] == []
        await tab.shown(4)
        await tab.pen(tab.all_px([tuple(p) for p in SWELL["guide"]["points_mm"]]))
        third = await tab.document(3)
        assert third["plan"]["item_id"] == "swell"
        await tab.page.wait_for_selector('#draw[data-phase="end"]')
        await tab.drained()
        assert harbour.facts(first["trial_id"])["marks"][0]["outcome"] == "spoilt"

    drive(harbour, scenario)


def test_two_fingers_in_both_corners_open_the_strip_and_one_does_not(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        await tab.touch("Start", (0, 20, 20))
        await asyncio.sleep(1.3)
        assert not await tab.page.is_visible("#strip")
        await tab.touch("Start", (0, 20, 20), (1, 1160, 20))
        await tab.page.wait_for_selector("#strip[open]", timeout=3000)
        await tab.touch("End")
        await tab.page.click("#strip-close")
        shown_ms = await tab.shown(2)
        await tab.pen(tab.all_px(beside(flat)))
        document = await tab.document()
        # Nothing had been drawn: the guide was shown anew and its clock began anew.
        assert shown_ms > 1300
        assert document["samples"]["t_ms"][0] < 3000
        assert document["marks"] == []

    drive(harbour, scenario)


def test_a_lost_answer_sends_again_and_is_stored_once(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()
    before = harbour.stored()

    async def scenario(tab: Tab) -> None:
        statuses = []

        async def lose_first(route: Any) -> None:
            answer = await route.fetch()
            statuses.append(answer.status)
            if len(statuses) == 1:
                await route.abort()
            else:
                await route.fulfill(response=answer)

        await tab.page.route("**/api/trials/*", lose_first)
        await tab.begin()
        await tab.pen(tab.all_px(beside(flat)))
        document = await tab.document(2)
        await tab.drained()
        assert statuses == [201, 200]
        assert tab.puts[0] == document
        assert len(harbour.stored()) == len(before) + 1

    drive(harbour, scenario)


def test_a_trial_that_the_server_refuses_waits_for_an_adult(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        async def refuse(route: Any) -> None:
            await route.fulfill(
                status=409,
                content_type="application/problem+json",
                body='{"title": "Conflict", "status": 409, "detail": "Other bytes are stored."}',
            )

        await tab.page.route("**/api/trials/*", refuse)
        await tab.begin()
        await tab.pen(tab.all_px(beside(flat)))
        sent = await tab.document()
        await tab.open_strip()
        await tab.page.click("#strip-leave")
        await tab.page.wait_for_selector("#refused:not([hidden])")
        assert "409" in await tab.page.inner_text("#refused")
        async with tab.page.expect_download() as saving:
            await tab.page.click("text=Save to a file")
        file = await (await saving.value).path()
        assert file.read_text() == (await tab.waiting())[0]["body"]
        assert sent["trial_id"] in (await saving.value).suggested_filename
        await tab.page.click("text=Take off this tablet")
        await tab.page.wait_for_selector("#refused", state="hidden")
        assert await tab.waiting() == []

    drive(harbour, scenario)


def test_a_revoked_pairing_keeps_what_waits_until_paired_again(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        refusing = True

        async def maybe_refuse(route: Any) -> None:
            if not refusing:
                await route.continue_()
                return
            await route.fulfill(
                status=401,
                content_type="application/problem+json",
                body='{"title": "Unauthorized", "status": 401}',
            )

        await tab.begin()
        await tab.page.route("**/api/trials/*", maybe_refuse)
        await tab.page.route("**/api/tablet/day", maybe_refuse)
        await tab.pen(tab.all_px(beside(flat)))
        document = await tab.document()
        await tab.open_strip()
        await tab.page.click("#strip-leave")
        await tab.page.wait_for_selector("#pair:not([hidden])")
        assert "pair it again" in (await tab.page.inner_text("#pair-fault")).lower()
        assert [row["state"] for row in await tab.waiting()] == ["unpaired"]
        refusing = False
        await tab.page.fill("#pair-code", harbour.pairing_code())
        await tab.page.click("#pair-form button")
        await tab.drained()
        assert document["trial_id"] in harbour.stored()

    drive(harbour, scenario)


def test_a_pairing_code_that_is_wrong_says_so(harbour: Harbour) -> None:
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.open()
        for code, words in (
            ("12", "8 characters"),
            ("WRONG777", "not known"),
            ("", "8 characters"),
        ):
            await tab.page.fill("#pair-code", code)
            await tab.page.click("#pair-form button")
            await tab.page.wait_for_selector(f"#pair-fault:has-text('{words}')")
            assert await tab.page.is_visible("#pair-form")

    drive(harbour, scenario)


def test_a_scanned_link_fills_in_the_code_and_keeps_it_out_of_the_address(
    harbour: Harbour,
) -> None:
    harbour.start()

    async def scenario(tab: Tab) -> None:
        code = harbour.pairing_code()
        await tab.page.goto(f"{harbour.url}/tablet#code={code}")
        await tab.page.wait_for_selector("#pair:not([hidden])")
        assert await tab.page.input_value("#pair-code") == code
        assert tab.page.url == f"{harbour.url}/tablet"
        await tab.page.click("#pair-form button")
        await tab.page.wait_for_selector("#calibrate:not([hidden])")

    drive(harbour, scenario)


def test_without_a_scale_the_adult_is_told_and_the_trial_flagged(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.open()
        await tab.pair(px_per_mm=None)
        assert "not checked" in await tab.page.inner_text("#notices")
        await tab.choose()
        await tab.pen(tab.all_px(beside(flat)))
        document = await tab.document()
        await tab.drained()
        assert document["device"]["calibrated"] is False
        report = harbour.report(document["trial_id"])
        assert "uncalibrated" in report["quality"]["flags"]
        assert report["measures"]["deviation_mean_abs"] | {"unit": "mm"} == {
            "value": None,
            "unit": "mm",
            "reason": "not_calibrated",
        }

    drive(harbour, scenario)


def test_over_an_open_connection_it_works_tells_the_adult_and_flags(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.page.goto(f"http://tablet.test:{harbour.port}/tablet")
        await tab.pair()
        assert "open connection" in await tab.page.inner_text("#notices")
        await tab.choose()
        # Only one event a frame arrives here: at once, the whole stroke would be two or three.
        await tab.pen(tab.all_px(beside(flat)[::6]), one_by_one=True)
        document = await tab.document()
        await tab.drained()
        assert document["device"]["secure_context"] is False
        assert document["device"]["coalesced"] is False
        flags = harbour.report(document["trial_id"])["quality"]["flags"]
        assert {"insecure_context", "parent_events_only"} <= set(flags)

    drive(harbour, scenario, flags=("--host-resolver-rules=MAP tablet.test 127.0.0.1",))


def test_on_a_screen_too_narrow_the_picture_asks_to_be_turned(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.open()
        await tab.pair(px_per_mm=3.9)
        await tab.set_up()
        await tab.page.wait_for_selector('#draw[data-phase="turn"]')
        assert await tab.page.inner_text("#draw") == ""
        await tab.page.set_viewport_size({"width": 844, "height": 390})
        await tab.skip_first()
        await tab.shown()
        await tab.pen(tab.all_px(beside(flat)))
        document = await tab.document()
        assert document["samples"]["x_mm"][0] == pytest.approx(LINE_FROM_MM, abs=0.01)

    drive(harbour, scenario, viewport={"width": 390, "height": 844})


def test_the_childs_screen_has_nothing_to_read_and_stays_still_when_asked(
    harbour: Harbour,
) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        assert (await tab.page.inner_text("body")).strip() == ""
        await tab.pen(tab.all_px(beside(flat)))
        await tab.page.wait_for_selector("#guide .answered", state="attached")
        moved = await tab.page.evaluate(
            "getComputedStyle(document.querySelector('#guide .answered .sign')).transform"
        )
        assert moved in ("none", "matrix(1, 0, 0, 1, 0, 0)")
        assert (await tab.page.inner_text("body")).strip() == ""

    drive(harbour, scenario, reduced_motion="reduce")
