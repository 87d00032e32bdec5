"""How the adult sets the tablet up for a child, and what the child is shown first. In Chromium."""

from uuid import uuid4

import pytest
from harbour import Harbour, item
from tab import Tab, drive
from test_tablet_modes import draw

pytestmark = pytest.mark.browser

LINE = item("quay-edge", repetitions=3)
BRIDGE = item("high-bridge", repetitions=2)


def area_left_mm(tab: Tab) -> float:
    size = tab.page.viewport_size
    assert size is not None
    return (size["width"] / tab.px_per_mm - 207.0) / 2


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


def test_a_midline_that_nobody_confirmed_is_not_known_until_the_desk_says_it(
    harbour: Harbour,
) -> None:
    asked = item("quay-edge")
    bare = item("quay-edge", midline_x_mm=None)
    assert asked["guide"] != bare["guide"]
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
        await tab.drained()
        assert document["guide"] == bare["guide"]
        assert document["condition"] == asked["condition"]
        crossings = harbour.report(document["trial_id"])["measures"]["midline_crossings"]
        assert (crossings["value"], crossings["reason"]) == (None, "midline_unknown")
        patch = {"midline_x_mm": asked["guide"]["midline_x_mm"]}
        body = {"id": str(uuid4()), "reason": "Written down.", "patch": patch}
        with harbour.signed_in() as desk:
            answer = desk.post(f"/api/trials/{document['trial_id']}/amendments", json=body)
        assert answer.status_code == 201, answer.text
        crossings = harbour.report(document["trial_id"])["measures"]["midline_crossings"]
        # [C] a line from left to right through the midline passes it once.
        assert crossings["value"] == 1

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


def test_nothing_covers_the_set_up_on_a_phone(harbour: Harbour) -> None:
    harbour.plan(*(item("flagpole", item_id=f"pole-{number}") for number in range(9)))
    harbour.start()

    async def scenario(tab: Tab) -> None:
        await tab.open()
        await tab.pair()
        await tab.choose_only()
        # Without a caution there is not even the edge of a notice.
        assert not await tab.page.is_visible("#setup-cautions")
        line = tab.page.locator("#setup-line")
        assert await line.evaluate("one => one.getBoundingClientRect().bottom") > 150
        await tab.page.evaluate("scrollTo(0, 400)")
        assert await line.evaluate("one => one.getBoundingClientRect().bottom") < 0

    drive(harbour, scenario, viewport={"width": 390, "height": 844})
