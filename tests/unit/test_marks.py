"""What a mark says of help; the words that other doors take."""

from typing import Any

import pytest

from server.store_marks import was_helped
from server.tables import MarkRow
from tests.practice import Practice


@pytest.mark.parametrize(
    ("noted", "helped"),
    [
        (None, False),
        ({}, False),
        # Setting the task up is none of it: the trade says "no help after set-up".
        ({"setup": True}, False),
        ({"setup": True, "cues": {"verbal": 0}, "physical": "none"}, False),
        ({"given": True}, True),
        ({"cues": {"verbal": 0, "gesture": 1, "demonstration": 0}}, True),
        ({"setup": True, "physical": "minimal"}, True),
        ({"hand_over_hand": True}, True),
    ],
)
def test_help_is_what_goes_beyond_setting_up(noted: dict[str, Any] | None, helped: bool) -> None:
    assert was_helped(MarkRow(help=noted)) is helped
    assert was_helped(None) is False


def test_measures_and_signs_can_be_asked_for(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    measures = ferry.get("/api/measures").json()["measures"]
    by_id = {one["id"]: one for one in measures}
    assert by_id["deviation_mean_abs"]["unit"] == "mm"
    assert by_id["deviation_mean_abs"]["column"] == "deviation_mean_abs_mm"
    assert len(by_id) == len(measures) > 100
    signs = ferry.get("/api/signs").json()["signs"]
    assert {"boat", "kite", "crab", "lighthouse"} <= set(signs)
