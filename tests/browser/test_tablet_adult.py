"""What the adult does on the tablet: set it up, mark, rest, step, go on. In Chromium."""

import asyncio
from typing import Any

import pytest
from harbour import Harbour, item
from tab import Tab, drive
from test_tablet_modes import lines_of

pytestmark = pytest.mark.browser

LINE = item("quay-edge", repetitions=3)
BRIDGE = item("high-bridge", repetitions=2)


def area_left_mm(tab: Tab) -> float:
    size = tab.page.viewport_size
    assert size is not None
    return (size["width"] / tab.px_per_mm - 207.0) / 2


async def draw(tab: Tab, asked: dict[str, Any]) -> None:
    (line,) = lines_of(asked)
    await tab.pen(tab.all_px(line))


@pytest.mark.parametrize("at", ["centred", "left", "right"])
def test_the_midline_is_where_the_adult_said_the_tablet_lies(harbour: Harbour, at: str) -> None:
    asked = item("quay-edge", midline_x_mm=None)
    assert "midline_x_mm" not in asked["guide"]
    harbour.plan(asked)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.open()
        await tab.pair()
        await tab.choose(at=at, surface="sloped")
        await draw(tab, asked)
        document = await tab.document()
        await tab.drained()
        # [C] the middle of the body is at the middle of the screen, or at the edge that
        # lies next to the body when the tablet is moved wholly to one side.
        screen_mm = 1180 / tab.px_per_mm
        beyond_mm = area_left_mm(tab)
        truth_mm = {
            "centred": screen_mm / 2 - beyond_mm,
            "left": screen_mm - beyond_mm,
            "right": -beyond_mm,
        }
        guide = document["guide"]
        assert guide["midline_x_mm"] == pytest.approx(truth_mm[at], abs=0.01)
        assert guide["midline_source"] == "entered"
        assert document["condition"]["tablet_at"] == at
        assert document["condition"]["surface"] == "sloped"
        measures = harbour.report(document["trial_id"])["measures"]
        crossings = measures["midline_crossings"]
        if at == "centred":
            assert crossings["value"] == 1
        else:
            assert crossings.get("reason") == "guide_lacks_feature"

    drive(harbour, scenario)


def test_what_the_adult_did_not_confirm_stays_as_the_plan_says(harbour: Harbour) -> None:
    asked = item("quay-edge", midline_x_mm=None)
    harbour.plan(asked)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.open()
        await tab.pair()
        await tab.page.click("#children-list button")
        await tab.page.click("#setup-skip")
        await tab.skip_first()
        await tab.shown()
        await draw(tab, asked)
        document = await tab.document()
        assert document["guide"] == asked["guide"]
        assert document["condition"] == asked["condition"]

    drive(harbour, scenario)


def test_the_second_time_one_tap_sets_up_as_the_last_time(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.open()
        await tab.pair()
        await tab.choose(at="left", surface="upright")
        await tab.open_strip()
        await tab.page.click("#strip-leave")
        await tab.page.click("#children-list button")
        await tab.page.click("#setup-same")
        await tab.skip_first()
        await tab.shown(2)
        await draw(tab, LINE)
        condition = (await tab.document())["condition"]
        assert (condition["tablet_at"], condition["surface"]) == ("left", "upright")

    drive(harbour, scenario)


def test_first_this_then_that_is_shown_when_the_task_changes(harbour: Harbour) -> None:
    harbour.plan(item("quay-edge", repetitions=2), BRIDGE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.open()
        await tab.pair()
        await tab.choose_only()
        await tab.page.click("#setup-skip")
        await tab.page.wait_for_selector('#draw[data-phase="first"]')
        assert (await tab.page.inner_text("body")).strip() == ""
        # Nobody has to tap: the picture comes by itself.
        await tab.shown()
        await draw(tab, LINE)
        await tab.document()
        await tab.carry_on()
        # The same task again needs no words.
        await tab.shown(2)
        await draw(tab, LINE)
        await tab.document(2)
        await tab.carry_on()
        await tab.skip_first()
        await tab.shown(3)

    drive(harbour, scenario)


def test_one_rung_easier_and_back(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        await tab.open_strip()
        await tab.page.click("#strip-easier")
        await tab.shown(2)
        await draw(tab, LINE)
        easier = await tab.document()
        assert easier["plan"]["step"] == "easier"
        # [C] 12 mm and 18 mm are neighbours on the width ladder (TRADE.md, section 3).
        assert easier["guide"]["corridor_mm"] == 18.0
        assert easier["guide"]["points_mm"] == LINE["guide"]["points_mm"]
        assert easier["guide"]["id"] != LINE["guide"]["id"]
        await tab.open_strip()
        assert not await tab.page.is_visible("#strip-easier")
        await tab.page.click("#strip-harder")
        await tab.shown(3)
        await draw(tab, LINE)
        back = await tab.document(2)
        assert "step" not in back["plan"]
        assert back["guide"] == LINE["guide"]
        await tab.drained()
        assert "guide_id_differs" not in harbour.report(easier["trial_id"])["quality"]["flags"]

    drive(harbour, scenario)


def test_a_probe_is_not_graded(harbour: Harbour) -> None:
    harbour.plan(BRIDGE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        await tab.open_strip()
        assert not await tab.page.is_visible("#strip-easier")
        assert not await tab.page.is_visible("#strip-harder")

    drive(harbour, scenario)


def test_a_rest_keeps_its_minutes_and_the_broken_line_comes_again(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        (line,) = lines_of(LINE)
        await tab.pen(tab.all_px(line[:60]))
        await tab.open_strip()
        await tab.page.click("#strip-rest")
        await tab.page.wait_for_selector('#draw[data-phase="rest"]')
        # A page that is loaded again is still at rest.
        await tab.open()
        await tab.page.click("#children-list button")
        await tab.page.wait_for_selector('#draw[data-phase="rest"]')
        await tab.open_strip()
        await tab.page.click('[data-why="noise"]')
        await tab.page.click("#strip-resume")
        await tab.skip_first()
        await tab.shown()
        await draw(tab, LINE)
        await tab.page.wait_for_selector("#guide .answered", state="attached")
        await tab.drained()
        # The first one may have been on its way when the page was loaded again.
        first, second = tab.puts[0], tab.puts[-1]
        assert first["ended_by"] == "adult"
        assert harbour.facts(first["trial_id"])["marks"][-1]["outcome"] == "stopped"
        assert second["plan"]["repetition"] == 2
        (rest,) = [one for one in harbour.observations() if one["kind"] == "rest"]
        assert rest["text"] == "noise"
        assert rest["minutes"] < 2

    drive(harbour, scenario)


def test_after_the_end_for_today_the_rest_of_the_plan_is_not_done(harbour: Harbour) -> None:
    harbour.plan(LINE, BRIDGE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        await draw(tab, LINE)
        await tab.document()
        await tab.open_strip()
        await tab.page.click("#strip-rest")
        await tab.open_strip()
        await tab.page.click('[data-why="tired"]')
        await tab.page.click("#strip-finish")
        await tab.page.wait_for_selector("#children:not([hidden])")
        await tab.drained()
        left = tab.puts[1:]
        # [C] three asked, one drawn, and both of the next task.
        assert [one["plan"]["item_id"] for one in left] == ["quay-edge"] * 2 + ["high-bridge"] * 2
        assert [one["seq"] for one in left] == [2, 3, 4, 5]
        for document in left:
            assert document["ended_by"] == "not_done"
            assert document["samples"]["t_ms"] == []
            mark = harbour.facts(document["trial_id"])["marks"][-1]
            assert (mark["outcome"], mark["why"]) == ("not_done", "tired")

    drive(harbour, scenario)


def test_marks_carry_all_that_was_said(harbour: Harbour) -> None:
    asked = item("quay-edge", hand="free", repetitions=2)
    harbour.plan(asked)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        await draw(tab, asked)
        document = await tab.document()
        await tab.open_strip()
        await tab.page.click('[data-hand="left"]')
        await tab.page.click('[data-mark="helped"]')
        await tab.drained()
        mark = harbour.facts(document["trial_id"])["marks"][-1]
        assert mark["hand_used"] == "left"
        assert mark["outcome"] == "finished"
        assert mark["help"] == {"given": True}

    drive(harbour, scenario)


def test_what_was_seen_is_kept_with_the_trial(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        await draw(tab, LINE)
        document = await tab.document()
        await tab.open_strip()
        await tab.page.click("#strip-seen")
        await tab.page.click('[data-saw="elbow_off_table"]')
        await tab.page.click("#strip-close")
        await tab.drained()
        (seen,) = [one for one in harbour.observations() if one["kind"] == "elbow_off_table"]
        assert seen["trial_id"] == document["trial_id"]

    drive(harbour, scenario)


def test_quiet_holds_everything_still(harbour: Harbour) -> None:
    harbour.plan(LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        assert await moves(tab)
        await tab.open_strip()
        await tab.page.click("#strip-quiet")
        await tab.page.click("#strip-close")
        await tab.shown(2)
        assert not await moves(tab)
        await draw(tab, LINE)
        document = await tab.document()
        assert document["shown"] == {"guide": "corridor", "cue": "still", "quiet": True}

    drive(harbour, scenario)


async def moves(tab: Tab) -> bool:
    """Whether anything on the child's picture changes within half a second."""
    before = await tab.page.inner_html("#guide")
    for _ in range(5):
        await asyncio.sleep(0.1)
        if await tab.page.inner_html("#guide") != before:
            return True
    return False


def test_the_cue_is_gone_at_the_first_contact(harbour: Harbour) -> None:
    harbour.plan(item("quay-edge", show={"cue": True}))
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        assert await moves(tab)
        (line,) = lines_of(LINE)
        await tab.pen(tab.all_px(line[:60]), held=True)
        assert not await moves(tab)
        await tab.end_line()
        # Begun before the go signal: none was given.
        assert "cue_ms" not in await tab.document()

    drive(harbour, scenario)


def test_the_go_signal_is_kept_when_the_child_waits_for_it(harbour: Harbour) -> None:
    harbour.plan(item("quay-edge", show={"cue": True}))
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        await asyncio.sleep(4.5)
        await draw(tab, LINE)
        document = await tab.document()
        await tab.drained()
        # A run of the cue takes two to three seconds.
        assert 1500 < document["cue_ms"] < 4000
        first_ms = document["samples"]["t_ms"][0]
        initiation = harbour.report(document["trial_id"])["measures"]["initiation_time"]
        assert initiation["value"] == pytest.approx((first_ms - document["cue_ms"]) / 1000)

    drive(harbour, scenario)
