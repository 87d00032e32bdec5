"""The desk's pages in Chromium: each role's way through them, with and without scripts."""

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import httpx2
import pytest
from harbour import Harbour, copy_of
from playwright.sync_api import Browser, BrowserContext, Page, Response
from shared_browser import plain

from server.demo_files import read_scenario
from server.sentences import sentence

pytestmark = pytest.mark.browser

SIZES = ((1180, 820), (820, 1180), (390, 844))
LEAST_TARGET_PX = 44
ACCOUNTS = {one["roles"][0]: one for one in read_scenario()["accounts"]}


@pytest.fixture(scope="module")
def served(demo_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Harbour]:
    """One running demo for this file; nothing here changes its trials."""
    harbour = copy_of(demo_file, tmp_path_factory.mktemp("desk"))
    harbour.start()
    yield harbour
    harbour.kill()


class Desk:
    """One browser window, and everything that went over the wire."""

    def __init__(self, harbour: Harbour, context: BrowserContext) -> None:
        self.harbour = harbour
        self.page: Page = context.new_page()
        self.hosts: set[str] = set()
        self.refused: list[tuple[int, str]] = []
        self.faults: list[str] = []
        self.page.on("request", lambda r: self.hosts.add(urlsplit(r.url).netloc))
        self.page.on("response", self._note)
        self.page.on("pageerror", lambda error: self.faults.append(str(error)))
        self.page.on("console", self._hear)

    def _note(self, response: Response) -> None:
        if response.status >= 400:
            self.refused.append((response.status, urlsplit(response.url).path))

    def _hear(self, message: Any) -> None:
        if message.type == "error" and "Failed to load resource" not in message.text:
            self.faults.append(message.text)

    def go(self, path: str) -> Response:
        answer = self.page.goto(self.harbour.url + path)
        assert answer is not None
        self.page.wait_for_load_state("networkidle")
        return answer

    def sign_in(self, role: str) -> None:
        self.go("/")
        self.page.get_by_label("Name").fill(ACCOUNTS[role]["name"])
        self.page.get_by_label("Pass-phrase").fill(ACCOUNTS[role]["passphrase"])
        self.page.get_by_role("button", name="Sign in").click()
        self.page.wait_for_load_state("networkidle")

    @property
    def path(self) -> str:
        return urlsplit(self.page.url).path

    @property
    def heading(self) -> str:
        return self.page.locator("h1").inner_text().replace("\N{NO-BREAK SPACE}", " ")

    def open_first_child(self) -> None:
        self.page.locator("a[href^='/children/']").first.click()
        self.page.wait_for_load_state("networkidle")

    def first_trial(self) -> str:
        href = self.page.locator("a[href^='/trials/']").first.get_attribute("href")
        assert href is not None
        return href

    def blank_pictures(self) -> list[str]:
        """Pictures that do not arrive."""
        self.page.wait_for_load_state("networkidle")
        return self.page.evaluate(
            "[...document.images].filter(i => !i.complete || i.naturalWidth === 0).map(i => i.src)"
        )


Scenario = Callable[[Desk], None]


def browse(harbour: Harbour, scenario: Scenario, **options: Any) -> None:
    """Run a scenario in an empty context of a browser; `options` are those of the context."""

    def run(browser: Browser) -> None:
        settings = {"viewport": {"width": 1180, "height": 820}} | options
        desk = Desk(harbour, browser.new_context(**settings))
        scenario(desk)
        assert desk.faults == []
        assert desk.hosts <= {urlsplit(harbour.url).netloc, ""}

    plain().run(run)


def test_a_therapist_goes_from_sign_in_to_the_picture_of_a_trial(served: Harbour) -> None:
    def scenario(desk: Desk) -> None:
        desk.sign_in("assistant")
        assert desk.path == "/caseload"
        assert desk.heading.startswith("Today, ")
        desk.open_first_child()
        assert desk.heading == "Gull"
        assert desk.blank_pictures() == []
        trial = desk.first_trial()
        desk.go(trial)
        report = served.report(trial.removeprefix("/trials/"))
        assert desk.heading == sentence(report).replace("\N{NO-BREAK SPACE}", " ")
        assert desk.blank_pictures() == []
        alt = desk.page.locator(".picture img").get_attribute("alt")
        assert sentence(report) in (alt or "")
        readings = desk.page.locator(".readings").inner_text().replace("\N{NO-BREAK SPACE}", " ")
        assert re.search(r"\d+ %", readings)
        assert "mm each side" in readings
        assert "Not a standardised test" in desk.page.locator("footer").inner_text()
        assert desk.refused == []

    browse(served, scenario)


def test_all_pages_work_without_scripts(served: Harbour) -> None:
    def scenario(desk: Desk) -> None:
        desk.sign_in("assistant")
        desk.open_first_child()
        child = desk.path
        desk.page.get_by_label("Measure").select_option("pause_time")
        desk.page.get_by_role("button", name="Show").click()
        assert "measure=pause_time" in desk.page.url
        assert desk.page.get_by_label("Measure").input_value() == "pause_time"
        assert desk.blank_pictures() == []
        desk.page.locator("summary").nth(2).click()
        desk.go(desk.first_trial())
        assert desk.page.locator(".readings dd").count() == 3
        desk.go("/caseload")
        desk.page.get_by_role("button", name="Pair a tablet").click()
        assert re.fullmatch(r"[2-9A-HJ-NP-Z]{8}", desk.page.locator(".code").inner_text())
        desk.page.get_by_role("button", name="Sign out").click()
        assert desk.path == "/"
        desk.go(child)
        assert desk.path == "/"
        assert desk.heading == "Sign in"

    browse(served, scenario, java_script_enabled=False)


def test_a_choice_shows_at_once_with_scripts(served: Harbour) -> None:
    def scenario(desk: Desk) -> None:
        desk.sign_in("supervisor")
        desk.open_first_child()
        assert not desk.page.get_by_role("button", name="Show").is_visible()
        desk.page.get_by_label("Measure").select_option("in_corridor_share")
        desk.page.wait_for_url("**measure=in_corridor_share**")
        desk.page.wait_for_load_state("networkidle")
        assert desk.blank_pictures() == []

    browse(served, scenario)


def test_a_wrong_pass_phrase_is_told_in_words(served: Harbour) -> None:
    def scenario(desk: Desk) -> None:
        desk.go("/")
        desk.page.get_by_label("Name").fill("lighthouse")
        desk.page.get_by_label("Pass-phrase").fill("not this one")
        desk.page.get_by_role("button", name="Sign in").click()
        told = desk.page.get_by_role("alert").inner_text()
        assert told == "The name or the pass-phrase is not right."
        assert desk.page.get_by_label("Name").is_visible()

    browse(served, scenario)


def test_the_pairing_code_on_the_page_pairs_a_tablet(served: Harbour) -> None:
    def scenario(desk: Desk) -> None:
        desk.sign_in("assistant")
        desk.page.get_by_role("button", name="Pair a tablet").click()
        code = desk.page.locator(".code").inner_text()
        assert code not in desk.page.url
        assert desk.blank_pictures() == []
        answer = httpx2.post(f"{served.url}/api/pair", json={"code": code})
        assert answer.status_code == 200
        assert set(answer.json()) == {"token", "tablet_id", "read_until"}

    browse(served, scenario)


def test_a_researcher_sees_the_export_and_no_clinical_page(served: Harbour) -> None:
    with served.signed_in() as client:
        child = client.get("/api/children").json()["children"][0]["child_id"]
        trial = client.get(f"/api/children/{child}/trials").json()["trials"][0]["trial_id"]

    def scenario(desk: Desk) -> None:
        desk.sign_in("researcher")
        assert desk.path == "/export"
        assert desk.page.get_by_role("link", name="Caseload").count() == 0
        hidden = (
            "/caseload",
            f"/children/{child}",
            f"/children/{child}/trend.svg?task=p1",
            f"/trials/{trial}",
            f"/trials/{trial}/narrow.svg",
            f"/api/trials/{trial}/figure.svg",
        )
        for path in hidden:
            answer = desk.go(path)
            assert answer.status in (403, 404), path
            assert "Gull" not in answer.text()
        desk.go("/export")
        with desk.page.expect_download() as waiting:
            desk.page.locator("a[href='/api/export/trials.csv']").click()
        header = Path(waiting.value.path()).read_text().splitlines()[0]
        assert {"study_code", "deviation_mean_abs_mm", "in_corridor_share"} <= set(
            header.split(",")
        )

    browse(served, scenario)


def test_a_therapist_does_not_see_the_export_nor_a_child_of_somebody_else(served: Harbour) -> None:
    def scenario(desk: Desk) -> None:
        desk.sign_in("assistant")
        assert desk.page.get_by_role("link", name="Export").count() == 0
        assert desk.go("/export").status == 403
        mine = desk.go("/caseload").text()
        assert "Puffin" not in mine
        lost = desk.go("/children/00000000-0000-4000-8000-0000000000ff")
        assert lost.status == 404
        assert "There is nothing here that you can see." in desk.heading

    browse(served, scenario)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_pages_fit_and_can_be_hit(served: Harbour, size: tuple[int, int], scheme: str) -> None:
    def scenario(desk: Desk) -> None:
        desk.sign_in("assistant")
        child = desk.page.locator("a[href^='/children/']").first.get_attribute("href")
        desk.go(child or "")
        for path in ("/caseload", child or "", desk.first_trial()):
            desk.go(path)
            wide = desk.page.evaluate("document.documentElement.scrollWidth")
            assert wide <= size[0], path
            small = desk.page.evaluate(
                """least => [...document.querySelectorAll(
                    "button, .button, select, input, header nav a, a.row, summary, table a"
                )].filter(e => e.checkVisibility())
                  .filter(e => e.getBoundingClientRect().height < least - 0.5)
                  .map(e => e.outerHTML)""",
                LEAST_TARGET_PX,
            )
            assert small == [], path
        dark = desk.page.evaluate("getComputedStyle(document.body).backgroundColor")
        assert dark == ("rgb(18, 24, 31)" if scheme == "dark" else "rgb(246, 242, 234)")
        source = desk.page.evaluate("document.querySelector('.picture img').currentSrc")
        assert source.endswith("/narrow.svg") == (size[0] <= 640)

    browse(served, scenario, viewport={"width": size[0], "height": size[1]}, color_scheme=scheme)


def test_the_keyboard_alone_is_enough(served: Harbour) -> None:
    def scenario(desk: Desk) -> None:
        desk.go("/")
        desk.page.keyboard.type(ACCOUNTS["assistant"]["name"])
        desk.page.keyboard.press("Tab")
        desk.page.keyboard.type(ACCOUNTS["assistant"]["passphrase"])
        desk.page.keyboard.press("Enter")
        desk.page.wait_for_url("**/caseload")
        desk.page.keyboard.press("Tab")
        assert desk.page.evaluate("document.activeElement.className") == "skip"
        desk.page.keyboard.press("Enter")
        assert desk.page.evaluate("document.activeElement.id") == "content"
        desk.page.keyboard.press("Tab")
        assert desk.page.evaluate("document.activeElement.getAttribute('href')") == "#tools"
        desk.page.keyboard.press("Tab")
        assert desk.page.evaluate("document.activeElement.classList.contains('row')")
        outline = desk.page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
        assert outline == "solid"
        # The first row is a session of today; the page of its child is one stop further.
        target = desk.page.evaluate("document.activeElement.getAttribute('href')")
        assert target.startswith("/sessions/")
        desk.page.keyboard.press("Tab")
        desk.page.keyboard.press("Enter")
        desk.page.wait_for_url("**/children/**")

    browse(served, scenario)


def test_the_printed_trial_shows_all_families_and_no_buttons(served: Harbour) -> None:
    def scenario(desk: Desk) -> None:
        desk.sign_in("assistant")
        desk.open_first_child()
        desk.go(desk.first_trial())
        desk.page.emulate_media(media="print")
        assert not desk.page.get_by_role("button", name="Sign out").is_visible()
        assert not desk.page.locator(".files").is_visible()
        closed = desk.page.locator(".families details:not([open]) tbody th")
        assert closed.count() > 10
        assert all(closed.nth(i).is_visible() for i in range(closed.count()))

    browse(served, scenario)


def test_what_is_printed_of_a_child_fits_its_paper(served: Harbour) -> None:
    def scenario(desk: Desk) -> None:
        desk.sign_in("assistant")
        desk.open_first_child()
        child = desk.path
        desk.page.emulate_media(media="print")
        # What is unfolded on the screen is on the paper, and nothing else.
        shown = desk.page.locator("table.trials").filter(visible=True)
        assert 1 <= shown.count() < desk.page.locator("table.trials").count()
        desk.page.emulate_media(media="null")
        desk.go(f"{child}/then-and-now")
        paper = desk.page.pdf(prefer_css_page_size=True)
        assert len(re.findall(rb"/Type\s*/Page\b", paper)) == 1

    browse(served, scenario)


def test_no_page_is_kept_by_the_browser_and_none_names_a_child_in_its_address(
    served: Harbour,
) -> None:
    def scenario(desk: Desk) -> None:
        desk.sign_in("assistant")
        desk.open_first_child()
        for path in ("/caseload", desk.path, desk.first_trial()):
            answer = desk.go(path)
            assert answer.headers["cache-control"] == "no-store"
            assert "default-src 'none'" in answer.headers["content-security-policy"]
            for telling in ("gull", "bw-01", "wren"):
                assert telling not in desk.page.url.lower()
            title = desk.page.title().lower()
            assert "gull" not in title

    browse(served, scenario)
