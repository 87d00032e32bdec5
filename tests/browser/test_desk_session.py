"""The page of a session in Chromium: trials come in while an adult looks, taps and types."""

import re
from collections.abc import Callable
from typing import Any

import httpx2
import pytest
from harbour import NAME, PASSPHRASE, Harbour
from playwright.sync_api import Browser, Page, expect
from shared_browser import plain

from tests.practice import drawn, raw_of

pytestmark = pytest.mark.browser

# The list is asked for every two seconds.
SOON_MS = 8_000


class Room:
    """Today's session of the demo, seen by its assistant; and a tablet that sends to it."""

    def __init__(self, harbour: Harbour, page: Page, client: httpx2.Client) -> None:
        self.page, self.client = page, client
        (session,) = client.get("/api/sessions").json()["sessions"]
        self.id, self.plan_id = session["session_id"], session["plan_id"]
        self.address = f"{harbour.url}/sessions/{self.id}"

    def send(self, seq: int) -> str:
        tree = drawn(plan_id=self.plan_id, seq=seq)
        answer = self.client.put(f"/api/trials/{tree['trial_id']}", content=raw_of(tree))
        assert answer.status_code == 201, answer.text
        return str(tree["trial_id"])

    def outcomes(self, trial_id: str) -> list[str]:
        marks = self.client.get(f"/api/trials/{trial_id}").json()["marks"]
        return [mark["outcome"] for mark in marks]

    def open(self) -> None:
        self.page.goto(self.address)


def look(harbour: Harbour, scenario: Callable[[Room], None], **options: Any) -> None:
    """Run a scenario in an empty context of a browser in which the assistant is signed in."""
    harbour.start()

    def run(browser: Browser) -> None:
        faults: list[str] = []
        with harbour.signed_in() as client:
            page = browser.new_context(**options).new_page()
            page.on("pageerror", lambda error: faults.append(str(error)))
            page.goto(harbour.url)
            page.get_by_label("Name").fill(NAME)
            page.get_by_label("Pass-phrase").fill(PASSPHRASE)
            page.get_by_role("button", name="Sign in").click()
            page.wait_for_url("**/caseload")
            scenario(Room(harbour, page, client))
            assert faults == []

    plain().run(run)


def test_a_trial_stands_there_soon_and_is_told_once(harbour: Harbour) -> None:
    def scenario(room: Room) -> None:
        room.open()
        page = room.page
        expect(page.locator("#no-trials")).to_be_visible()
        first = room.send(1)
        expect(page.locator(f"#trial-{first}")).to_be_visible(timeout=SOON_MS)
        expect(page.locator("#no-trials")).to_be_hidden()
        expect(page.locator("#came-in")).to_have_text("1 trial has come in, 1 without a mark.")
        expect(page.get_by_role("status")).to_have_text("Trial 1, Quay Edge, has come in.")
        room.send(2)
        expect(page.locator(".trials > li")).to_have_count(2, timeout=SOON_MS)
        assert [row.split(".")[0] for row in page.locator(".trials h3").all_inner_texts()] == [
            "2",
            "1",
        ]

    look(harbour, scenario)


def test_what_is_being_typed_is_left_alone(harbour: Harbour) -> None:
    def scenario(room: Room) -> None:
        page, first = room.page, room.send(1)
        room.open()
        row = page.locator(f"#trial-{first}")
        row.get_by_text("Help, hand, reason").click()
        why = row.get_by_label("Spoilt or stopped, because")
        why.fill("a gull took the ")
        # Somebody else marks it, and another trial comes in.
        body = {"id": "22222222-2222-4222-8222-222222222222", "outcome": "stopped"}
        assert room.client.post(f"/api/trials/{first}/marks", json=body).status_code == 201
        room.send(2)
        expect(page.locator(".trials > li")).to_have_count(2, timeout=SOON_MS)
        page.keyboard.type("pen")
        expect(why).to_be_focused()
        expect(why).to_have_value("a gull took the pen")
        expect(row.locator(".marked")).to_have_text("No mark yet.")
        # As soon as it is left, it says what is so.
        row.get_by_text("Help, hand, reason").click()
        page.locator("#came-in").click()
        expect(row.locator(".marked")).to_have_text("Stopped. Kept, not counted.", timeout=SOON_MS)

    look(harbour, scenario)


@pytest.mark.parametrize("scripts", [True, False])
def test_one_tap_marks_a_trial(harbour: Harbour, scripts: bool) -> None:
    def scenario(room: Room) -> None:
        page, first = room.page, room.send(1)
        room.open()
        row = page.locator(f"#trial-{first}")
        row.get_by_role("button", name="Helped").click()
        expect(row.locator(".marked")).to_have_text("Helped.")
        expect(row.get_by_role("button", name="Helped")).to_have_attribute("aria-pressed", "true")
        assert page.url.endswith(f"#trial-{first}")
        row.get_by_role("button", name="OK").click()
        expect(row.locator(".marked")).to_have_text("OK.")
        assert room.outcomes(first) == ["finished", "finished"]

    look(harbour, scenario, java_script_enabled=scripts)


def test_without_scripts_a_plan_is_made_and_the_list_looked_at_again(harbour: Harbour) -> None:
    def scenario(room: Room) -> None:
        room.open()
        page = room.page
        page.get_by_text("Add a task", exact=True).click()
        page.get_by_label("Task", exact=True).select_option("high-bridge")
        page.get_by_role("button", name="Choose").click()
        for choice in ("Left hand", "Right hand", "Right to left", "Left to right"):
            page.get_by_label(choice).check()
        page.get_by_label("How often each").fill("2")
        seed = page.get_by_label("Shuffle number").input_value()
        page.get_by_role("button", name="Add to the plan").click()
        headings = page.locator(".items .block").all_inner_texts()
        assert len(headings) == 2
        assert all(heading.endswith(f"random order, shuffle number {seed}") for heading in headings)
        items = room.client.get(f"/api/sessions/{room.id}/plan").json()["items"][-8:]
        cells = [(one["condition"]["hand"], one["condition"]["direction"]) for one in items]
        assert len(set(cells[:4])) == len(set(cells[4:])) == 4
        room.send(1)
        page.get_by_role("link", name="Look again").click()
        expect(page.locator(".trials > li")).to_have_count(1)

    look(harbour, scenario, java_script_enabled=False)


def test_a_page_that_is_not_signed_in_any_more_says_what_to_do(harbour: Harbour) -> None:
    def scenario(room: Room) -> None:
        room.open()
        room.page.context.clear_cookies()
        expect(room.page.get_by_role("status")).to_contain_text("sign in", timeout=SOON_MS)

    look(harbour, scenario)


@pytest.mark.parametrize("width", [1180, 820, 390])
def test_the_page_fits_and_can_be_hit(harbour: Harbour, width: int) -> None:
    def scenario(room: Room) -> None:
        room.send(1)
        page = room.page
        page.goto(f"{room.address}?task=high-bridge")
        for summary in page.locator("summary").all():
            if summary.locator("xpath=..").get_attribute("open") is None:
                summary.click()
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        small = page.evaluate(
            """() => [...document.querySelectorAll("section button, section input, section select,"
                + "section summary, section a, .acts a, .acts button")]
              .filter((one) => one.type !== "hidden" && one.checkVisibility())
              .map((one) => [one.name || one.textContent.trim(),
                (one.closest("label") ?? one).getBoundingClientRect()])
              .filter(([, { height }]) => height < 44).map(([name]) => name)"""
        )
        assert small == []

    look(harbour, scenario, viewport={"width": width, "height": 820})


def test_no_address_and_no_title_tells_who_the_child_is(harbour: Harbour) -> None:
    def scenario(room: Room) -> None:
        room.open()
        assert "Gull" in room.page.locator("h1").inner_text()
        assert room.page.title() == "Session · Linnet"
        hrefs = room.page.eval_on_selector_all("a, form", "all => all.map(a => a.href ?? a.action)")
        assert hrefs
        assert not [one for one in hrefs if re.search("gull|BW-", str(one), re.IGNORECASE)]

    look(harbour, scenario)


def note_words(page: Page, words: str | None) -> None:
    """Send the form of words, filled in anew unless what stands there is to be sent."""
    box = page.get_by_label("Words")
    if not box.is_visible():
        page.get_by_text("What was said, or a remark").click()
    if words is not None:
        box.fill(words)
    page.get_by_role("button", name="Note these words").click()
    page.wait_for_url("**#observed")


def test_words_that_are_gone_back_to_and_sent_again_are_noted_once(harbour: Harbour) -> None:
    def scenario(room: Room) -> None:
        page = room.page
        noted = page.locator("ul.noted").get_by_text("Held the kite.")
        room.open()
        note_words(page, "Held the kite.")
        page.go_back()
        page.wait_for_url(room.address)
        expect(page.get_by_label("Words")).to_have_value("Held the kite.")
        note_words(page, None)
        expect(noted).to_have_count(1)
        # On a page that is come to anew they are noted once more.
        page.goto(f"{page.url.partition('#')[0]}/note")
        room.open()
        note_words(page, "Held the kite.")
        expect(noted).to_have_count(2)

    look(harbour, scenario)


def test_a_task_that_is_gone_back_to_and_added_again_is_asked_once(harbour: Harbour) -> None:
    def scenario(room: Room) -> None:
        page, items = room.page, room.page.locator("form[action$='/close']")
        room.open()
        before = items.count()
        page.locator("#add summary").click()
        page.get_by_label("Task").select_option("quay-edge")
        page.wait_for_url("**task=quay-edge*")
        asked = page.url
        for _ in range(2):
            for hand in page.locator("[name=hands]").all():
                hand.set_checked(hand.get_attribute("value") == "left")
            page.get_by_role("button", name="Add to the plan").click()
            page.wait_for_url("**#plan")
            expect(items).to_have_count(before + 1)
            page.go_back()
            page.wait_for_url(asked)

    look(harbour, scenario)
