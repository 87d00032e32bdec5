"""How long a session lasted: its page, its note and the draft of it say the same minutes."""

import pytest

from server.note_facts import time_words
from tests.practice import Practice
from tests.unit.test_page_session import at, text_of


@pytest.mark.parametrize(
    ("ended", "minutes"),
    [
        ("11:50:12", 1),  # [C] 0.2 min: what began lasted one at least
        ("11:52:54", 3),  # [C] 2.9 min
        ("11:53:18", 3),  # [C] 3.3 min
    ],
)
def test_page_and_note_say_the_same_whole_minutes(
    practice: Practice, ended: str, minutes: int
) -> None:
    ferry = practice.desk("ferry")
    times = {"started_at": "2026-03-03T11:50:00Z", "ended_at": f"2026-03-03T{ended}Z"}
    path = f"/api{at(practice)}"
    assert ferry.patch(path, json=times).status_code == 200
    said = f"11:50–{ended[:5]}, {minutes} min"
    assert f"{said}." in text_of(ferry.get(at(practice)))
    note = text_of(ferry.get(f"{at(practice)}/note"))
    assert note.count(said) == 2  # its facts and the drafted words
    assert f"{minutes}\N{NO-BREAK SPACE}min" in time_words(
        ferry.get(f"{path}/note").json()["numbers"]["session"], lambda moment: moment
    )
