"""The page for a family: words that can be changed, a page to print, and nothing kept."""

import html
import re
import sqlite3
import subprocess
from contextlib import closing
from pathlib import Path
from typing import Any
from uuid import uuid4

import numpy as np
import pytest

from analysis.workings import Workings
from server.documents import read_trial
from server.family_refusals import CODE, LONG, MOST_LETTERS, PERCENT
from server.figures_plain import CHANNEL, plain_figure
from tests.practice import Practice, drawn, raw_of
from tests.rights import everything_but_looks

TYPED = {
    "did": "Gull drew <long> bridges & waves.\r\nTwice over.",
    "alone": "",
    "helped": "With reminders from right to left.",
    "breaks": "",
    "home": "Wipe a table in wide slow curves.",
    "later": "Lines on the wall.",
}


def path_of(practice: Practice) -> str:
    return f"/sessions/{practice.ids['Gull session']}/family"


def send(practice: Practice, **top: Any) -> str:
    tree = drawn(**top)
    answer = practice.send(practice.tablet(), tree)
    assert answer.status_code == 201, answer.text
    mark = {"id": str(uuid4()), "outcome": "finished"}
    practice.desk("ferry").post(f"/api/trials/{tree['trial_id']}/marks", json=mark)
    trial_id: str = tree["trial_id"]
    return trial_id


def post(practice: Practice, do: str = "page", **fields: str) -> Any:
    return practice.desk("ferry").post(path_of(practice), data=TYPED | {"do": do} | fields)


def words(answer: Any) -> str:
    return html.unescape(re.sub(r"<[^>]*>", " ", answer.text))


def areas(page: str) -> dict[str, str]:
    found = re.findall(r'<textarea [^>]*name="(\w+)"[^>]*>\n(.*?)</textarea>', page, re.DOTALL)
    return {name: html.unescape(text) for name, text in found}


def pdf_text(pdf: bytes, folder: Path) -> str:
    file = folder / "family.pdf"
    file.write_bytes(pdf)
    asked = ["pdftotext", "-layout", str(file), "-"]
    return subprocess.run(asked, check=True, capture_output=True, text=True).stdout


def test_the_form_holds_the_draft_and_leaves_to_people_what_is_theirs(practice: Practice) -> None:
    send(practice)
    page = practice.desk("ferry").get(path_of(practice))
    assert page.status_code == 200
    found = areas(page.text)
    assert found["did"] == "On Tuesday, Gull drew a straight line."
    assert found["alone"] == "This was done without help."
    assert (found["home"], found["later"]) == ("", "")
    assert "Not kept by Linnet: print it or save the PDF." in page.text
    assert page.text.count(f'maxlength="{MOST_LETTERS}"') == 6


def test_neither_page_holds_a_code_a_birth_date_or_a_number_of_the_record(
    practice: Practice,
) -> None:
    trial_id = send(practice)
    form = practice.desk("ferry").get(path_of(practice))
    sheet = post(practice, picture="true", line=trial_id)
    for answer in (form, sheet):
        assert answer.status_code == 200
        for telling in ("BW-91", "2019", "%", " mm"):
            assert telling not in words(answer), telling
        assert answer.headers["cache-control"] == "no-store"
    # The day of the session and nothing else in figures.
    article = sheet.text.partition("<article")[2]
    article = re.sub(r'src="[^"]*"', "", article)
    said = html.unescape(re.sub(r"<[^>]*>", " ", article))
    assert re.findall(r"\d+", said) == ["3", "2026"]


def test_the_printed_page_says_what_was_typed_and_takes_it_back(practice: Practice) -> None:
    send(practice)
    sheet = post(practice)
    assert sheet.status_code == 200
    for text in ("<long> bridges & waves.", "Twice over.", "With reminders", "At home", "Next"):
        assert text in words(sheet), text
    assert "<long>" not in sheet.text
    back = post(practice, "change", **areas(sheet.text))
    assert back.status_code == 200
    assert areas(back.text) == TYPED | {"did": TYPED["did"].replace("\r\n", "\n")}


def test_ticks_and_the_chosen_line_survive_going_back(practice: Practice) -> None:
    first, _ = send(practice, seq=1), send(practice, seq=2)
    ticked = {"picture": "true", "line": first, "scissors": "true"}
    sheet = post(practice, **ticked)
    for name, value in ticked.items():
        assert re.search(rf'name="{name}"[^>]*(?:value="{value}"|>\n{value}<)', sheet.text), name
    back = post(practice, "change", **ticked)
    assert back.text.count(" checked>") == 2
    assert f'<option value="{first}" selected>' in back.text


@pytest.mark.parametrize(
    ("outcome", "there"), [("stopped", True), ("spoilt", False), ("not_done", False)]
)
def test_a_spoilt_line_may_be_of_another_child_and_is_not_shown(
    practice: Practice, outcome: str, there: bool
) -> None:
    first, last = send(practice, seq=1), send(practice, seq=2)
    mark = {"id": str(uuid4()), "outcome": outcome}
    ferry = practice.desk("ferry")
    assert ferry.post(f"/api/trials/{last}/marks", json=mark).status_code == 201
    chosen = last if there else first
    assert f'<option value="{chosen}" selected>' in ferry.get(path_of(practice)).text
    answer = post(practice, picture="true", line=last)
    assert answer.status_code == (200 if there else 422)


def test_nothing_of_it_is_stored(practice: Practice) -> None:
    send(practice)
    before = everything_but_looks(practice.path)
    for do in ("page", "pdf", "change"):
        assert post(practice, do).status_code == 200
    assert everything_but_looks(practice.path) == before
    with closing(sqlite3.connect(practice.path)) as connection:
        query = "SELECT count(*) FROM audit WHERE verb = 'printed' AND child_id = ?"
        (count,) = connection.execute(query, (practice.ids["Gull"],)).fetchone()
    # Going back to the words prints nothing.
    assert count == 2


def test_the_file_carries_no_name_and_says_the_same(practice: Practice, tmp_path: Path) -> None:
    trial_id = send(practice)
    answer = post(practice, "pdf", picture="true", line=trial_id)
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/pdf"
    name = answer.headers["content-disposition"]
    assert re.fullmatch(r'attachment; filename="linnet-family-[0-9a-f-]{36}\.pdf"', name)
    text = pdf_text(answer.content, tmp_path)
    assert text.count("\f") == 1
    for said in ("For Gull's family", "Tuesday 3 March 2026", "Lines on the wall.", "At home"):
        assert said in text, said
    assert "BW-91" not in text
    assert b"Gull" not in answer.content


@pytest.mark.parametrize(
    ("fields", "there"),
    [
        ({}, False),
        ({"scissors": "true"}, True),
        ({"home": "Snip old tickets."}, True),
    ],
)
def test_the_caution_about_scissors_stands_where_scissors_come_in(
    practice: Practice, fields: dict[str, str], there: bool
) -> None:
    caution = "An adult stays beside Gull: scissors and small parts."
    assert (caution in words(post(practice, **fields))) is there


def test_the_caution_cannot_be_left_out_after_cutting(practice: Practice) -> None:
    entry = {
        "format": "linnet-entry/1",
        "entry_id": str(uuid4()),
        "task": {"mode": "cut", "task_id": "ticket-snips"},
        "counts": {"snips_done": 6},
    }
    ferry = practice.desk("ferry")
    params = {"session": practice.ids["Gull session"]}
    address = f"/api/entries/{entry['entry_id']}"
    assert ferry.put(address, content=raw_of(entry), params=params).status_code == 201
    assert "Always on the page" in ferry.get(path_of(practice)).text
    assert 'name="scissors"' not in ferry.get(path_of(practice)).text
    assert "scissors and small parts" in words(post(practice))


def test_an_empty_page_and_a_line_that_is_gone_are_refused_and_nothing_typed_is_lost(
    practice: Practice,
) -> None:
    empty = post(practice, **dict.fromkeys(TYPED, " "))
    assert empty.status_code == 422
    assert 'role="alert"' in empty.text
    gone = post(practice, picture="true", line=str(uuid4()))
    assert gone.status_code == 422
    assert "not among those of the session" in gone.text
    assert areas(gone.text)["home"] == TYPED["home"]


@pytest.mark.parametrize("do", ["page", "pdf"])
@pytest.mark.parametrize(
    ("field", "text", "sentence"),
    [
        ("did", "bw 91 drew a line.", CODE),
        ("home", "On the path for 80 % of it.", PERCENT),
        ("helped", "a" * (MOST_LETTERS + 1), LONG),
    ],
)
def test_neither_a_code_nor_a_percentage_is_printed_and_what_was_typed_stays(
    practice: Practice, do: str, field: str, text: str, sentence: str
) -> None:
    send(practice)
    before = everything_but_looks(practice.path)
    answer = post(practice, do, **{field: text})
    assert answer.status_code == 422
    assert everything_but_looks(practice.path) == before
    wrong = re.findall(r'<p class="note alarm" id="(\w+)-trouble">(.*?)</p>', answer.text)
    assert [(name, html.unescape(said)) for name, said in wrong] == [(field, sentence)]
    said_by = rf'id="{field}" [^>]*aria-invalid="true" aria-describedby="{field}-trouble\b'
    assert re.search(said_by, answer.text)
    assert areas(answer.text)[field] == text
    assert areas(answer.text)["later"] == TYPED["later"]


def test_a_nickname_that_holds_the_code_is_not_printed(practice: Practice) -> None:
    send(practice)
    with closing(sqlite3.connect(practice.path)) as bare, bare:
        bare.execute("UPDATE child SET nickname = 'Gull BW-91' WHERE code = 'BW-91'")
    form = practice.desk("ferry").get(path_of(practice))
    assert areas(form.text)["did"] == "On Tuesday, your child drew a straight line."
    sheet = post(practice, scissors="true")
    assert sheet.status_code == 200
    assert "For the family" in words(sheet)
    assert "BW-91" not in words(sheet)


def test_lines_to_choose_from_are_told_by_trial_hand_and_way(practice: Practice) -> None:
    spoilt, last = send(practice, seq=1), send(practice, seq=2)
    mark = {"id": str(uuid4()), "outcome": "spoilt"}
    ferry = practice.desk("ferry")
    assert ferry.post(f"/api/trials/{spoilt}/marks", json=mark).status_code == 201
    page = ferry.get(path_of(practice)).text
    (words_of,) = re.findall(rf'<option value="{last}" selected>(.*?)</option>', page)
    # Numbered as on the trial's own page, whatever cannot be chosen.
    assert re.fullmatch(r"Trial 2: [\w ]+, left hand, left to right", words_of)
    sheet = post(practice, picture="true", line=last)
    caption = "A straight line that Gull drew that day with the left hand from left to right."
    assert sheet.text.count(caption) == 2


def test_each_file_has_a_name_of_its_own(practice: Practice) -> None:
    send(practice)
    names = {post(practice, "pdf").headers["content-disposition"] for _ in range(2)}
    assert len(names) == 2
    assert not any(practice.ids["Gull session"] in name for name in names)


def test_a_line_of_another_child_is_never_shown(practice: Practice) -> None:
    tree = drawn(plan_id="00000000-0000-4000-8000-000000000002")
    assert practice.send(practice.tablet("lantern"), tree).status_code == 201
    assert post(practice, picture="true", line=tree["trial_id"]).status_code == 422


def test_letters_that_no_page_can_show_are_left_out(practice: Practice) -> None:
    sheet = post(practice, did="Gull\x00 drew\x1b a line.")
    assert sheet.status_code == 200
    assert "Gull drew a line." in words(sheet)


def test_long_words_are_told_of_and_longer_ones_refused(practice: Practice) -> None:
    note = "may run over one page"
    assert note not in post(practice).text
    assert note in post(practice, home="a " * 390, later="a " * 390).text
    assert post(practice, home="a\r\n" * (MOST_LETTERS // 2)).status_code == 200
    assert post(practice, home="a" * 20_001).status_code == 422


def test_the_picture_shows_path_and_line_without_a_number_or_a_word() -> None:
    for name in ("trace", "tap", "join", "both"):
        tree = drawn() if name == "trace" else None
        raw = raw_of(tree) if tree else FIXTURES.joinpath(f"{name}.json").read_bytes()
        workings = Workings(read_trial(raw).to_trial())
        figure = plain_figure(workings)
        (axes,) = figure.axes
        assert not axes.axison
        assert not axes.texts
        assert axes.get_legend() is None
        assert not figure.texts
        marks = {one.get_gid() for one in (*axes.collections, *axes.patches)} - {None}
        assert marks & {"line", "touch"}, name
        assert marks & {"channel", "dot"}, name
    channel = next(
        one
        for one in plain_figure(workings_of_line()).axes[0].patches
        if one.get_gid() == "channel"
    )
    assert channel.get_facecolor()[:3] == pytest.approx(hex_rgb(CHANNEL))


def test_the_line_in_the_picture_is_the_line_that_was_drawn() -> None:
    workings = workings_of_line()
    (line,) = (c for c in plain_figure(workings).axes[0].collections if c.get_gid() == "line")
    (drawn_mm,) = line.get_segments()  # type: ignore[attr-defined]
    assert np.allclose(drawn_mm[0], workings.trace.xy_mm[0])
    assert np.allclose(drawn_mm[-1], workings.trace.xy_mm[-1])
    # [C] The line lies 1 mm above the guide at y = 60 mm, all the way.
    assert np.allclose(drawn_mm[:, 1], 59.0)


FIXTURES = Path(__file__).parents[2] / "fixtures" / "trials"


def workings_of_line() -> Workings:
    return Workings(read_trial(raw_of(drawn())).to_trial())


def hex_rgb(code: str) -> tuple[float, ...]:
    return tuple(int(code[k : k + 2], 16) / 255 for k in (1, 3, 5))
