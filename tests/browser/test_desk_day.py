"""A whole day in Chromium: from sign-in to a co-signed note and a page for the family."""

import re
import subprocess
from pathlib import Path
from typing import Any

import pytest
from harbour import Harbour
from playwright.async_api import Page, expect
from tab import Tab, drive

from server.demo_files import read_scenario

pytestmark = pytest.mark.browser

ACCOUNTS = {one["roles"][0]: one for one in read_scenario()["accounts"]}
TRIALS = 8
# What is said of trial 3, 4 and 5; all others are finished without help.
SAID = {3: "Spoilt", 4: "Stopped", 5: "Helped"}
SETTLED_MS = 1000
LEFT_MM, RIGHT_MM, MIDDLE_MM = 13.5, 193.5, 68.0
STOPS_LEFT = """() => {
    const { x, width } = document.querySelector("#guide .quay").getBoundingClientRect();
    return x + width / 2 < innerWidth / 2;
}"""


async def signed_in(tab: Tab, role: str) -> Page:
    """A window of its own in which somebody is signed in."""
    assert tab.page.context.browser is not None
    context = await tab.page.context.browser.new_context(viewport={"width": 1180, "height": 820})
    page = await context.new_page()
    page.on("pageerror", lambda error: tab.faults.append(str(error)))
    await page.goto(tab.harbour.url)
    await page.get_by_label("Name").fill(ACCOUNTS[role]["name"])
    await page.get_by_label("Pass-phrase").fill(ACCOUNTS[role]["passphrase"])
    await page.get_by_role("button", name="Sign in").click()
    await page.wait_for_url("**/caseload")
    return page


async def words(page: Page, path: str, tab: Tab) -> str:
    await page.goto(tab.harbour.url + path)
    return (await page.locator("main").inner_text()).replace("\N{NO-BREAK SPACE}", " ")


async def pressed(page: Page, name: str) -> None:
    """Send a form, and wait for the page that answers it."""
    async with page.expect_navigation():
        await page.get_by_role("button", name=name).click()


async def planned(desk: Page) -> None:
    """Eight pictures in blocks: the right hand, there and back."""
    await desk.locator("summary", has_text="Add a task").click()
    await desk.get_by_label("Task", exact=True).select_option(label="Quay Edge")
    form = desk.get_by_role("form", name="Add Quay Edge")
    await form.get_by_label("How often each").fill(str(TRIALS // 2))
    for hand in ("Left", "Right"):
        await form.get_by_label(hand, exact=False).first.set_checked(hand == "Right")
    for box in await form.get_by_role("group", name="Directions").get_by_role("checkbox").all():
        await box.check()
    await form.get_by_label("Shuffle number").fill("4711")
    await form.get_by_role("button", name="Add to the plan").click()


async def drawn(tab: Tab, number: int) -> None:
    """One line in the way that is asked."""
    await tab.shown(number)
    way = (RIGHT_MM, LEFT_MM) if await tab.page.evaluate(STOPS_LEFT) else (LEFT_MM, RIGHT_MM)
    step_mm = (way[1] - way[0]) / 90
    await tab.pen(tab.all_px([(way[0] + step_mm * i, MIDDLE_MM + 0.5) for i in range(91)]))
    await tab.document(number)


async def saved(page: Page, link: str) -> tuple[str, str]:
    """Name and words of a PDF that a link gives."""
    async with page.expect_download() as download:
        await page.get_by_role("link", name=link).click()
    file = await (await download.value).path()
    return (await download.value).suggested_filename, text_of(file)


def text_of(pdf: Path) -> str:
    asked = ["pdftotext", "-layout", str(pdf), "-"]
    return subprocess.run(asked, check=True, capture_output=True, text=True).stdout


def test_a_day_is_done_from_sign_in_to_co_signature(harbour: Harbour) -> None:
    harbour.plan()
    harbour.start()
    with harbour.signed_in() as client:
        (session,) = client.get("/api/sessions").json()["sessions"]
    here, child = f"/sessions/{session['session_id']}", f"/children/{session['child_id']}"

    async def scenario(tab: Tab) -> None:
        desk = await signed_in(tab, "assistant")
        name = await desk.locator("a.row .name").first.inner_text()
        await desk.locator(f"a.row[href='{here}']").click()
        await planned(desk)
        text = (await desk.locator("main").inner_text()).replace("\N{NO-BREAK SPACE}", " ")
        assert "block 4 of 4, random order, shuffle number 4711" in text
        assert "Quay Edge" in text

        await desk.goto(f"{harbour.url}/caseload")
        await pressed(desk, "Pair a tablet")
        code = await desk.locator(".code").inner_text()
        await desk.goto(harbour.url + here)
        await tab.open()
        await tab.pair(code.strip())
        await tab.set_up()
        await tab.skip_first()
        for number in range(1, TRIALS + 1):
            await drawn(tab, number)
            if number < TRIALS:
                await tab.skip_first()
        # Nobody has loaded the page again: the trials came in by themselves.
        await expect(desk.locator("li[id^='trial-']")).to_have_count(TRIALS, timeout=10_000)
        # A tap that falls into the moment in which rows move is not taken.
        await desk.wait_for_timeout(SETTLED_MS)
        for number in range(1, TRIALS + 1):
            form = desk.get_by_role("form", name=f"Mark trial {number}", exact=True)
            button = form.locator("button", has_text=SAID.get(number, "OK"))
            await button.click()
            await expect(button).to_have_attribute("aria-pressed", "true")
        await pressed(desk, "End now")

        await reviewed(desk)
        boss = await signed_in(tab, "supervisor")
        await decided(boss, tab, child)
        await written(desk, tab, here)
        await cosigned(boss, tab, here)
        await for_the_family(desk, tab, here, name)

    drive(harbour, scenario)


async def reviewed(desk: Page) -> None:
    """A trial is looked at, played, and taken along as a report."""
    await desk.locator("li[id^='trial-'] a").first.click()
    assert "mm each side" in (await desk.locator("h1").inner_text()).replace(
        "\N{NO-BREAK SPACE}", " "
    )
    scrubber = desk.get_by_role("slider")
    await expect(scrubber).to_be_visible()
    before = await desk.locator("#replay").inner_text()
    await scrubber.focus()
    await desk.keyboard.press("End")
    await expect(desk.locator("#replay")).not_to_have_text(before)
    name, text = await saved(desk, "Report (PDF)")
    assert re.fullmatch(r"linnet-trial-[0-9a-f-]{36}\.pdf", name)
    assert "Not a standardised test, a norm or a diagnosis." in text


async def decided(boss: Page, tab: Tab, child: str) -> None:
    """One session is too little for a step; a goal is set, and changed."""
    assert "too little to say" in (await words(boss, child, tab)).casefold()
    await boss.goto(f"{tab.harbour.url}{child}/goals/new")
    form = boss.locator("form.card")
    await form.get_by_label("During").fill("drawing maps at the art table")
    await form.get_by_label("Task").select_option(label="Quay Edge")
    await form.get_by_label("At least").fill("80")
    await form.get_by_label("Path, mm each side").fill("6")
    await form.get_by_label("Met in").first.fill("4")
    await form.get_by_label("of finished trials").fill("5")
    await pressed(boss, "Set the goal")
    text = await words(boss, child, tab)
    assert "in 4 of 5 finished trials" in text
    await boss.locator("a.act", has_text="goal 1").click()
    await boss.locator("summary", has_text="The form of the goal").click()
    await boss.get_by_label("Met in").first.fill("3")
    await pressed(boss, "Save as a new version")
    assert "in 3 of 5 finished trials" in await words(boss, child, tab)


async def written(desk: Page, tab: Tab, here: str) -> None:
    """The objective part is drafted, the rest is written; nothing is signed without it."""
    await desk.goto(f"{tab.harbour.url}{here}/note")
    objective = desk.locator("#objective")
    draft = (await objective.input_value()).replace("\N{NO-BREAK SPACE}", " ")
    assert "Quay Edge" in draft
    assert "of 3 finished trials" in draft or "of 4 finished trials" in draft
    for what in ("stopped", "spoilt"):
        assert what in draft
    await desk.locator("#read").check()
    await pressed(desk, "Save and sign")
    await expect(desk.locator("#assessment")).to_have_attribute("aria-invalid", "true")
    await desk.locator("#assessment").fill("Followed the quay both ways today.")
    await desk.locator("#plan").fill("The same again on Thursday.")
    await desk.locator("#read").check()
    await pressed(desk, "Save and sign")
    assert "Followed the quay both ways today." in await words(desk, f"{here}/note", tab)
    assert await desk.locator("#assessment").count() == 0


async def cosigned(boss: Page, tab: Tab, here: str) -> None:
    await boss.goto(f"{tab.harbour.url}/queue")
    await boss.locator(f"a.row[href='{here}/note']").first.click()
    await boss.locator("#read").check()
    await pressed(boss, "Co-sign")
    text = await words(boss, f"{here}/note", tab)
    assert ACCOUNTS["supervisor"]["name"] in text
    assert f"{here}/note" not in await hrefs(boss, f"{tab.harbour.url}/queue")
    await boss.goto(f"{tab.harbour.url}{here}/note")
    name, text = await saved(boss, "Note (PDF)")
    assert re.fullmatch(r"linnet-note-[0-9a-f-]{36}\.pdf", name)
    assert "Followed the quay both ways today." in text


async def hrefs(page: Page, address: str) -> list[Any]:
    await page.goto(address)
    return [await one.get_attribute("href") for one in await page.locator("a").all()]


async def for_the_family(desk: Page, tab: Tab, here: str, name: str) -> None:
    await desk.goto(f"{tab.harbour.url}{here}/family")
    await desk.locator("form.family textarea").last.fill("Next we try lines on the wall.")
    await pressed(desk, "Show the page to print")
    text = await desk.locator("main").inner_text()
    assert name in text
    assert "Next we try lines on the wall." in text
    assert "%" not in text
