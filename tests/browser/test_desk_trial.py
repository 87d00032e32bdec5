"""The page of a trial in Chromium: its replay by hand, by keyboard and by clock, its forms."""

import re
from collections.abc import Iterator
from pathlib import Path
from uuid import UUID

import pytest
from harbour import Harbour, copy_of
from test_desk import Desk, browse

pytestmark = pytest.mark.browser

READ = re.compile(r"^([\d.]+) s · (\d+) mm/s · ([\d.]+) mm from the line$")


@pytest.fixture(scope="module")
def served(demo_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Harbour]:
    """One running demo for this file, whose trials may be marked."""
    harbour = copy_of(demo_file, tmp_path_factory.mktemp("trial"))
    harbour.start()
    yield harbour
    harbour.kill()


def trial_with(harbour: Harbour, event: str) -> str:
    """The first trial of the first child in which something happened."""
    with harbour.signed_in() as client:
        child = client.get("/api/children").json()["children"][0]["child_id"]
        for line in client.get(f"/api/children/{child}/trials").json()["trials"]:
            report = client.get(f"/api/trials/{line['trial_id']}/report")
            if report.status_code == 200 and report.json().get("events", {}).get(event):
                return str(UUID(line["trial_id"]))
    raise AssertionError(event)


def open_replay(desk: Desk, trial_id: str) -> None:
    desk.go(f"/trials/{trial_id}")
    desk.page.locator("#replay").scroll_into_view_if_needed()
    desk.page.locator("#replay-body").wait_for(state="visible")


def now(desk: Desk) -> str:
    return desk.page.locator("#replay-now").inner_text().replace("\N{NO-BREAK SPACE}", " ")


def test_the_replay_stands_still_until_somebody_plays_it_and_stops_when_asked(
    served: Harbour,
) -> None:
    trial_id = trial_with(served, "departures")

    def scenario(desk: Desk) -> None:
        desk.sign_in("assistant")
        open_replay(desk, trial_id)
        began = now(desk)
        desk.page.wait_for_timeout(400)
        assert now(desk) == began
        desk.page.get_by_label("Speed", exact=True).select_option("4")
        desk.page.get_by_role("button", name="Play", exact=True).click()
        desk.page.wait_for_function(
            "began => document.getElementById('replay-now').textContent !== began", arg=began
        )
        desk.page.get_by_role("button", name="Pause", exact=True).click()
        stopped = now(desk)
        desk.page.wait_for_timeout(300)
        assert now(desk) == stopped

    browse(served, scenario, reduced_motion="reduce")


def test_the_keyboard_moves_the_replay_to_both_ends_and_says_where_it_is(served: Harbour) -> None:
    trial_id = trial_with(served, "departures")
    report = served.report(trial_id)
    lasted_s = report["measures"]["duration"]["value"]

    def scenario(desk: Desk) -> None:
        desk.sign_in("assistant")
        open_replay(desk, trial_id)
        scrubber = desk.page.get_by_label("Time", exact=True)
        scrubber.focus()
        desk.page.keyboard.press("Home")
        first = READ.match(now(desk))
        desk.page.keyboard.press("End")
        last = READ.match(now(desk))
        assert first is not None
        assert last is not None
        assert float(last[1]) - float(first[1]) == pytest.approx(lasted_s, abs=0.11)
        said = scrubber.get_attribute("aria-valuetext") or ""
        assert said.replace("\N{NO-BREAK SPACE}", " ") == now(desk)

    browse(served, scenario)


def test_one_goes_to_a_departure_and_finds_the_pen_outside_the_path(served: Harbour) -> None:
    trial_id = trial_with(served, "departures")
    report = served.report(trial_id)
    departure = report["events"]["departures"][0]

    def scenario(desk: Desk) -> None:
        desk.sign_in("assistant")
        open_replay(desk, trial_id)
        line = desk.page.locator("#replay-picture .departed")
        assert line.first.get_attribute("display") == "none"
        desk.page.locator("#replay-moments button.departure").first.click()
        read = READ.match(now(desk))
        assert read is not None
        assert float(read[1]) == pytest.approx(departure["start_ms"] / 1000, abs=0.06)
        assert float(read[3]) >= report["half_width_mm"] - 0.5
        # To the end of it, and the stretch is drawn.
        desk.page.get_by_label("Time", exact=True).press("End")
        assert line.first.get_attribute("display") == "inline"
        assert desk.page.locator("#replay-panel .out").count() == len(
            [one for one in report["events"]["departures"] if one["start_ms"] is not None]
        )

    browse(served, scenario)


def test_a_mark_refused_and_then_taken_keeps_what_was_there(served: Harbour) -> None:
    trial_id = trial_with(served, "pauses")

    def scenario(desk: Desk) -> None:
        desk.sign_in("assistant")
        desk.go(f"/trials/{trial_id}")
        before = desk.page.locator("#noted .notes li").count()
        desk.page.get_by_text("Note how it went").click()
        desk.page.get_by_label("OK", exact=True).check()
        desk.page.get_by_label("Why, if spoilt or stopped").fill("the bell")
        desk.page.get_by_role("button", name="Save this", exact=True).click()
        desk.page.get_by_text("A reason belongs to spoilt or stopped.").wait_for()
        assert desk.page.get_by_label("Why, if spoilt or stopped").input_value() == "the bell"
        desk.page.get_by_label("Stopped", exact=True).check()
        desk.page.get_by_role("button", name="Save this", exact=True).click()
        desk.page.get_by_text("Stopped: the bell.").first.wait_for()
        assert desk.path == f"/trials/{trial_id}"
        assert desk.page.locator("#noted .notes li").count() == before + 1

    browse(served, scenario, java_script_enabled=False)
