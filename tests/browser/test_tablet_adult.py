"""What the adult does in a sitting: mark, rest, step, end. In Chromium."""

import pytest
from harbour import Harbour, item
from tab import Tab, drive
from test_tablet_modes import draw, lines_of

pytestmark = pytest.mark.browser

LINE = item("quay-edge", repetitions=3)
BRIDGE = item("high-bridge", repetitions=2)


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


def test_what_has_no_room_here_is_told_to_the_desk_with_the_reason(harbour: Harbour) -> None:
    # [C] 180 mm upright and lying, on a screen of 390 by 844 px: 75 by 162 mm.
    small = item("flagpole", repetitions=1)
    harbour.plan(small, LINE)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.open()
        await tab.pair(px_per_mm=5.2)
        await tab.set_up()
        await tab.skip_first()
        await tab.shown()
        await tab.open_strip()
        await tab.page.click("#strip-skip")
        await tab.page.wait_for_selector('#draw[data-phase="end"]')
        skipped, told = await tab.document(1), await tab.document(2)
        await tab.drained()
        assert (skipped["plan"]["item_id"], skipped["ended_by"]) == ("flagpole", "not_done")
        (mark,) = harbour.facts(skipped["trial_id"])["marks"]
        assert (mark["outcome"], mark["why"]) == ("not_done", "skipped")
        with harbour.signed_in() as desk:
            session = harbour.facts(skipped["trial_id"])["session_id"]
            assert "Not done: skipped." in desk.get(f"/sessions/{session}").text
        assert told["plan"]["item_id"] == "quay-edge"
        assert told["ended_by"] == "not_done"
        (mark,) = harbour.facts(told["trial_id"])["marks"]
        assert (mark["outcome"], mark["why"]) == ("not_done", "too large for this screen")
        # Another look at the same end tells it no second time.
        await tab.carry_on()
        await tab.open_strip()
        assert "3 pictures of the plan" in await tab.page.inner_text("#strip-note")
        assert len(tab.puts) == 2

    drive(harbour, scenario, viewport={"width": 390, "height": 844})


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


# Whether the middle of an element is where a finger would meet it.
IN_REACH = """one => {
    const { x, y, width, height } = one.getBoundingClientRect();
    return one.contains(document.elementFromPoint(x + width / 2, y + height / 2));
}"""


@pytest.mark.parametrize("size", [(390, 844), (1080, 810)], ids=["phone", "tablet"])
def test_the_marks_and_the_way_out_of_a_long_strip_stay_in_reach(
    harbour: Harbour, size: tuple[int, int]
) -> None:
    # Its strip has a row more: which hand drew.
    asked = item("flagpole", hand="free")
    harbour.plan(asked)
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.begin()
        (line,) = lines_of(asked)
        await tab.pen(tab.all_px(line[:60]))
        await tab.open_strip()
        for part, first, last in (
            ("seen", '[data-saw="helper_hand_holds"]', '[data-saw="grip_other"]'),
            ("help", '[data-help="setup"]', '[data-physical="none"]'),
        ):
            await tab.page.click(f"#strip-{part}")
            assert await tab.page.locator(first).evaluate(IN_REACH)
            assert await tab.page.locator('[data-mark="ok"]').evaluate(IN_REACH)
            await tab.page.evaluate("document.getElementById('strip').scrollTop = 9999")
            assert await tab.page.evaluate("document.getElementById('strip').scrollTop") > 100
            for css in ("#strip-close", '[data-mark="ok"]', '[data-mark="stopped"]', last):
                assert await tab.page.locator(css).evaluate(IN_REACH), css

    width, height = size
    drive(harbour, scenario, viewport={"width": width, "height": height})
