"""The pages of a therapist's day in Chromium: two taps to a session, one page of paper."""

import re
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from harbour import NAME, Harbour, copy_of, now
from test_desk import LEAST_TARGET_PX, SIZES, Desk, browse

from server.database import make_engine, make_sessions
from server.settings import Settings, database_url
from server.signs import SIGNS
from server.store_accounts import account_by_name
from server.store_children import children_of, create_child, link
from server.store_sessions import create_session, latest_plan, save_plan, sessions_of

pytestmark = pytest.mark.browser

MOST_CHILDREN = 14
A4_PT = (595, 842)
PATHS = ("/caseload", "/run-sheet", "/tablets")


def fill_day(harbour: Harbour) -> None:
    """Give the assistant as many sessions today as one day may have, some with long names."""
    settings = Settings(database_url=database_url(str(harbour.file)))
    engine = make_engine(settings)
    try:
        with make_sessions(engine)() as db:
            account, today = account_by_name(db, NAME), settings.day_of(now())
            assert account is not None
            plan = latest_plan(db, sessions_of(db, children_of(db, account)[0].id)[-1].id)
            assert plan is not None
            for number in range(MOST_CHILDREN - 1):
                name = "Oystercatcher of the outer mole" if number % 4 == 0 else f"Tern {number}"
                sign = f"{SIGNS[number]} {SIGNS[number + 2]}"
                child = create_child(db, code=f"BW-5{number}", nickname=name, sign=sign)
                link(db, account, child, today)
                place = "Clinic room at the old ropewalk" if number % 3 else "Tidewell School"
                day = datetime(today.year, today.month, today.day, 7 + number, 5, tzinfo=UTC)
                session = create_session(
                    db, child_id=child.id, day=today, place=place, started_at=day
                )
                save_plan(db, session.id, {"items": plan["items"]}, at=now())
            db.commit()
    finally:
        engine.dispose()


@pytest.fixture(scope="module")
def served(town_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Harbour]:
    """A server whose assistant has a full day."""
    harbour = copy_of(town_file, tmp_path_factory.mktemp("today"))
    fill_day(harbour)
    harbour.start()
    yield harbour
    harbour.kill()


@pytest.mark.parametrize("scripts", [True, False])
def test_a_session_starts_in_two_taps(harbour: Harbour, scripts: bool) -> None:
    def scenario(desk: Desk) -> None:
        desk.sign_in("assistant")
        before = desk.page.locator("a.timed").count()
        # The first tap was the one that opened the list.
        desk.page.get_by_role("button", name="Start a session with Wren").click()
        desk.page.wait_for_url("**/sessions/*")
        session = desk.path
        assert re.fullmatch(r"/sessions/[0-9a-f-]{36}", session)
        desk.go("/caseload")
        assert desk.page.locator("a.timed").count() == before + 1
        row = desk.page.locator(f"a.timed[href='{session}']").inner_text()
        assert re.search(r"begun · 0 of \d+ trials in", row)
        assert desk.page.get_by_role("button", name="Start a session with Wren").count() == 0

    harbour.start()
    browse(harbour, scenario, java_script_enabled=scripts)


def test_the_run_sheet_of_a_full_day_is_one_page_of_paper(served: Harbour) -> None:
    def scenario(desk: Desk) -> None:
        desk.sign_in("assistant")
        desk.page.get_by_role("link", name="Run sheet", exact=True).click()
        assert desk.page.locator("tbody tr").count() == MOST_CHILDREN
        paper = desk.page.pdf(prefer_css_page_size=True)
        # [C] one object of the kind page, of the size of A4 to a point
        assert len(re.findall(rb"/Type\s*/Page\b", paper)) == 1
        sizes = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", paper)
        assert {(round(float(w)), round(float(h))) for w, h in sizes} == {A4_PT}
        desk.page.emulate_media(media="print")
        assert not desk.page.locator(".no-print").first.is_visible()
        assert not desk.page.get_by_role("button", name="Sign out").is_visible()
        assert desk.page.get_by_text("This sheet holds children's names.").is_visible()
        colours = desk.page.evaluate(
            """[...new Set([...document.querySelectorAll('main *')]
                .filter(e => e.checkVisibility() && !e.closest('svg'))
                .map(e => getComputedStyle(e).color))]"""
        )
        assert colours == ["rgb(0, 0, 0)"]

    browse(served, scenario)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_pages_of_the_day_fit_and_can_be_hit(
    served: Harbour, size: tuple[int, int], scheme: str
) -> None:
    def scenario(desk: Desk) -> None:
        desk.sign_in("assistant")
        desk.page.get_by_role("button", name="Pair a tablet").click()
        code = desk.page.locator(".code").inner_text()
        desk.page.request.post(f"{served.url}/api/pair", data={"code": code})
        desk.go("/tablets")
        revoking = desk.page.get_by_role("link", name="End the pairing").first.get_attribute("href")
        for path in (*PATHS, revoking or ""):
            desk.go(path)
            assert desk.page.evaluate("document.documentElement.scrollWidth") <= size[0], path
            small = desk.page.evaluate(
                """least => [...document.querySelectorAll(
                    "button, .button, input, a.row, a.aside, a.jump, tbody a, summary"
                )].filter(e => e.checkVisibility())
                  .filter(e => e.getBoundingClientRect().height < least - 0.5)
                  .map(e => e.outerHTML)""",
                LEAST_TARGET_PX,
            )
            assert small == [], path
            assert desk.refused == []

    browse(served, scenario, viewport={"width": size[0], "height": size[1]}, color_scheme=scheme)


def test_a_tablet_is_named_and_revoked_by_keyboard_alone(harbour: Harbour) -> None:
    def scenario(desk: Desk) -> None:
        desk.sign_in("assistant")
        code = harbour.pairing_code()
        desk.page.request.post(f"{harbour.url}/api/pair", data={"code": code})
        desk.go("/tablets")
        desk.page.get_by_role("textbox", name="Name").focus()
        desk.page.keyboard.type("Blue case")
        desk.page.keyboard.press("Enter")
        desk.page.wait_for_selector("h2:text('Blue case')")
        desk.page.get_by_role("link", name="End the pairing of Blue case").focus()
        desk.page.keyboard.press("Enter")
        desk.page.wait_for_url("**/revoke")
        assert desk.heading == "End the pairing of Blue case?"
        desk.page.get_by_role("button", name="End the pairing").focus()
        desk.page.keyboard.press("Enter")
        desk.page.wait_for_url("**/tablets")
        desk.page.locator("summary").first.focus()
        desk.page.keyboard.press("Enter")
        assert "can neither fetch plans nor send" in desk.page.locator("details").inner_text()

    harbour.start()
    browse(harbour, scenario)
