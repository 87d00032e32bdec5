"""Every mode and every task that runs on a tablet, drawn in Chromium and scored as drawn."""

import itertools
import math
from typing import Any

import pytest
from hands import Points
from harbour import Harbour, item
from tab import Tab, drive

from server.library import LIBRARY

pytestmark = pytest.mark.browser


def dots_of(asked: dict[str, Any]) -> Points:
    return [(dot["x"], dot["y"]) for dot in asked["guide"]["targets_mm"]]


def joined(points: Points, step_mm: float = 1.0) -> Points:
    """Points every `step_mm` or less along straight lines from point to point."""
    found: Points = [points[0]]
    for (x0, y0), (x1, y1) in itertools.pairwise(points):
        count = max(1, math.ceil(math.dist((x0, y0), (x1, y1)) / step_mm))
        found += [
            (x0 + (x1 - x0) * i / count, y0 + (y1 - y0) * i / count) for i in range(1, count + 1)
        ]
    return found


def lines_of(asked: dict[str, Any]) -> list[Points]:
    """The lines of a guide, part by part, as they are to be drawn."""
    guide = asked["guide"]
    found = []
    for part in guide.get("parts") or [guide]:
        points = [tuple(point) for point in part["points_mm"]]
        found.append(joined([*points, points[0]] if part["closed"] else points))
    return found


async def draw(tab: Tab, asked: dict[str, Any]) -> None:
    """The only line of an item, as it is to be drawn."""
    (line,) = lines_of(asked)
    await tab.pen(tab.all_px(line))


async def tap(tab: Tab, at: tuple[float, float]) -> None:
    place = tab.px(*at)
    await tab.pen([place, place, place])


def value(report: dict[str, Any], measure: str) -> Any:
    found = report["measures"][measure]
    assert "reason" not in found, (measure, found)
    return found["value"]


def test_dots_are_tapped_in_any_order_and_a_miss_is_a_miss(harbour: Harbour) -> None:
    asked = item("portholes", repetitions=2)
    harbour.plan(asked)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        *others, (x, y) = dots_of(asked)
        for at in reversed(others):
            await tap(tab, at)
        # [C] 8 mm beside a dot of radius 6 mm: an attempt, and a miss.
        await tap(tab, (x, y + 8.0))
        document = await tab.document()
        await tab.drained()
        assert document["ended_by"] == "all_dots"
        assert document["samples"]["stroke"][-1] == 9
        report = harbour.report(document["trial_id"])
        assert report["targets"] == {"count": 10, "contacted": 9}
        assert value(report, "hit_share") == pytest.approx(0.9)

    drive(harbour, scenario)


def test_posts_are_joined_in_one_line(harbour: Harbour) -> None:
    asked = item("mooring-posts")
    harbour.plan(asked)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        drawn = await tab.pen(tab.all_px(joined(dots_of(asked))))
        document = await tab.document()
        await tab.drained()
        assert document["ended_by"] == "stop_target"
        assert len(document["samples"]["t_ms"]) == len(drawn.times_ms)
        assert value(harbour.report(document["trial_id"]), "completion") == 1.0

    drive(harbour, scenario)


def test_beacons_are_joined_pair_by_pair(harbour: Harbour) -> None:
    asked = item("night-beacons")
    harbour.plan(asked)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        assert asked["guide"]["pairs"] is True
        dots = dots_of(asked)
        for pair in zip(dots[::2], dots[1::2], strict=True):
            await tab.pen(tab.all_px(joined(list(pair))))
        document = await tab.document()
        await tab.drained()
        assert document["ended_by"] == "stop_target"
        assert set(document["samples"]["stroke"]) == {0, 1, 2, 3}
        assert value(harbour.report(document["trial_id"]), "completion") == 1.0

    drive(harbour, scenario)


def test_two_fingers_row_two_oars_at_once(harbour: Harbour) -> None:
    asked = item("two-oars", corridor_mm=18.0, hand="both")
    harbour.plan(asked)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        left, right = lines_of(asked)
        # The right hand lands first: which contact is which is told by where it is.
        await tab.two_fingers(tab.all_px(right), tab.all_px(left))
        document = await tab.document()
        await tab.drained()
        samples = document["samples"]
        assert document["ended_by"] == "stop_target"
        assert document["device"]["pointer_type"] == "touch"
        middle_mm = asked["guide"]["midline_x_mm"]
        for x_mm, pointer in zip(samples["x_mm"], samples["pointer"], strict=True):
            assert pointer == (0 if x_mm < middle_mm else 1)
        report = harbour.report(document["trial_id"])
        assert [contact["part"] for contact in report["contacts"]] == [0, 1]
        assert value(report, "in_corridor_share") == 1.0

    drive(harbour, scenario)


def test_one_hand_holds_while_the_other_follows_the_ring(harbour: Harbour) -> None:
    asked = item("capstan", corridor_mm=18.0, hand="both")
    harbour.plan(asked)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        (ring,) = lines_of(asked)
        (disc,) = dots_of(asked)
        await tab.two_fingers([tab.px(*disc)] * len(ring), tab.all_px(ring))
        document = await tab.document()
        await tab.drained()
        assert document["ended_by"] == "stop_target"
        report = harbour.report(document["trial_id"])
        assert sorted(str(contact["part"]) for contact in report["contacts"]) == ["0", "None"]
        assert value(report, "in_corridor_share") == 1.0

    drive(harbour, scenario)


def test_a_second_finger_draws_nothing_where_one_hand_draws(harbour: Harbour) -> None:
    asked = item("quay-edge")
    harbour.plan(asked)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        (line,) = lines_of(asked)
        await tab.two_fingers(tab.all_px(line), tab.all_px([(x, y + 40) for x, y in line]))
        document = await tab.document()
        assert "pointer" not in document["samples"]
        assert max(document["samples"]["y_mm"]) < 70.0
        assert document["device"]["touches_ignored"] == 1

    drive(harbour, scenario)


LINES = (
    ("flagpole", {}),
    ("gangway", {}),
    ("low-bridge", {}),
    ("buoy", {"direction": "anticlockwise"}),
    ("hatch", {}),
    ("sail-seam", {}),
    ("two-islands", {}),
    ("slow-tide", {"median": 0.42, "corridor_mm": 24.0}),
    ("ticket-snips", {"corridor_mm": None}),
    ("rope-lengths", {"corridor_mm": 12.7}),
    ("bunting-curve", {"corridor_mm": 12.7}),
    ("life-ring", {"corridor_mm": 12.7}),
    ("crate-card", {"corridor_mm": 12.7}),
)


def test_every_other_line_of_the_library_is_drawn_and_covered(harbour: Harbour) -> None:
    asked = [item(task_id, **choices) for task_id, choices in LINES]
    harbour.plan(*asked)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        for number, one in enumerate(asked, start=1):
            await tab.shown(number)
            for line in lines_of(one):
                await tab.pen(tab.all_px(line))
            await tab.end_line()
            document = await tab.document(number)
            assert document["task"] == one["task"]
            assert document["guide"] == one["guide"]
            if number < len(asked):
                await tab.skip_first()
        await tab.page.wait_for_selector('#draw[data-phase="end"]')
        await tab.drained()
        for document in tab.puts:
            report = harbour.report(document["trial_id"])
            name = document["task"]["task_id"]
            assert report["mode"] == document["task"]["mode"], name
            if "completion" in report["measures"]:
                assert value(report, "completion") == pytest.approx(1.0, abs=0.02), name

    drive(harbour, scenario)


def test_nothing_that_runs_on_a_tablet_is_left_out_here() -> None:
    one_by_one = {
        "quay-edge",
        "portholes",
        "mooring-posts",
        "night-beacons",
        "two-oars",
        "capstan",
        # Drawn in test_tablet_drawing.py.
        "high-bridge",
        "swell",
    }
    on_a_tablet = {
        task["task_id"] for task in LIBRARY if task["medium"] == "tablet" or task["mode"] == "cut"
    }
    assert one_by_one | {task_id for task_id, _ in LINES} == on_a_tablet


def test_the_wide_bridge_is_drawn_on_a_large_screen_and_left_out_of_a_small_one(
    harbour: Harbour,
) -> None:
    asked = item("wide-bridge", corridor_mm=24.0, screen_mm=(640.0, 350.0), midline_x_mm=320.0)
    harbour.plan(asked, item("quay-edge"))
    harbour.start()

    async def on_a_small_one(tab: Tab) -> None:
        await tab.open()
        await tab.pair()
        await tab.choose_only()
        assert "too large for this screen" in await tab.page.inner_text("#setup")
        await tab.page.click("#setup-skip")
        await tab.skip_first()
        await tab.shown()
        await tab.open_strip()
        assert await tab.page.inner_text("#strip-title") == "Quay Edge"

    async def on_a_large_one(tab: Tab) -> None:
        await tab.begin(px_per_mm=2.8)
        # The task area is shifted so that the whole guide is seen.
        scale, left, top = await tab.page.evaluate(
            """() => {
                const { a, e, f } = document.querySelector("#guide > g").getScreenCTM();
                return [a, e, f];
            }"""
        )
        (line,) = lines_of(asked)
        await tab.pen([(left + scale * x, top + scale * y) for x, y in line])
        document = await tab.document()
        await tab.drained()
        assert document["ended_by"] == "stop_target"
        report = harbour.report(document["trial_id"])
        assert value(report, "completion") == pytest.approx(1.0, abs=0.01)

    drive(harbour, on_a_small_one)
    drive(harbour, on_a_large_one, viewport={"width": 1900, "height": 1000})
