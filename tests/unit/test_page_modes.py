"""Pages of trials in which dots were touched or two hands worked at once."""

import json
import re
from pathlib import Path
from typing import Any

import pytest

from server.documents import read_trial
from server.page_trial import contact_families, readings
from server.scoring import score
from tests.practice import PLAN_GULL, Practice

TRIALS = Path(__file__).parents[2] / "fixtures" / "trials"
MODES = ("tap", "join", "both", "both-hold", "cut-line")


def report_of(name: str) -> dict[str, Any]:
    return score(read_trial((TRIALS / f"{name}.json").read_bytes()))


@pytest.mark.parametrize("name", MODES)
def test_a_trial_of_every_mode_is_taken_shown_drawn_and_exported(
    practice: Practice, name: str
) -> None:
    tree = json.loads((TRIALS / f"{name}.json").read_text())
    tree["plan"] = {"plan_id": PLAN_GULL, "version": 1, "item_id": "a1", "repetition": 1}
    answer = practice.send(practice.tablet(), tree)
    assert answer.status_code == 201, answer.text
    desk = practice.desk("ferry")
    page = desk.get(f"/trials/{tree['trial_id']}")
    assert page.status_code == 200
    text = re.sub(r"\s+", " ", page.text.replace("\N{NO-BREAK SPACE}", " "))
    assert tree["task"]["name"] in text
    assert "nan" not in re.sub(r"<[^>]*>", "", text).split()
    picture = desk.get(f"/api/trials/{tree['trial_id']}/figure.svg")
    assert picture.status_code == 200
    assert picture.content.startswith(b"<?xml")
    practice.agree("research", "Gull")
    table = practice.desk("beacon").get("/api/export/trials.csv").text
    assert f",{tree['task']['mode']}," in table


def test_dots_are_read_as_touched_and_not_as_a_line() -> None:
    labels = [one.label for one in readings(report_of("tap"))]
    assert labels[0] == "of the dots touched"
    assert "of the line on the path" not in labels
    shown = {one.label: one.text for one in readings(report_of("join"))}
    assert shown["of the dots joined"].startswith("83")  # type: ignore[union-attr]  # [C] 5 of 6


def test_each_contact_has_its_own_headings_without_what_it_cannot_have() -> None:
    headings = [family.name for family in contact_families(report_of("both"))]
    assert any(name.startswith("First contact: ") for name in headings)
    assert any(name.startswith("Second contact: ") for name in headings)
    rows = [row for family in contact_families(report_of("both-hold")) for row in family.rows]
    assert rows
    assert not any(row.refused for row in rows)
    assert list(contact_families(report_of("tap"))) == []
