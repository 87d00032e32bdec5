"""What cannot be a practice's own line: refused at once, with its place, without an echo."""

import time

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.custom_guides import CustomGuideFields, custom_guide_of, custom_task
from server.custom_guides_svg import MAX_LETTERS
from server.faults import BadDocument
from server.fields import MAX_POINTS
from server.formats import TaskDocument
from tests.documents import SECRET


def made(**fields) -> dict:
    return custom_task(custom_guide_of({"name": "Kite tail"} | fields), task_id="own-1")


def refusal(**fields) -> BadDocument:
    with pytest.raises(BadDocument) as caught:
        made(**fields)
    return caught.value


NOT_PATHS = [
    "M",
    "Z",
    "L 3 3",
    "0 0 L 90 0",
    "M 0 0 L 90 0 L 5",
    "M 0 0 L 90 0 5 L 9 9",
    "M 0 0 H 90 Z 5",
    "M 0 0 L nan 90",
    "M 0 0 L inf 90",
    "M 0 0 L 90 . L 5 5",
    "M 0 0 L 90 5e",
    "M 0 0 L 12",
    "M 0 0 L 90,,5",
    "M 0 0 L 90 \u0663",
    f"M 0 0 L 90 0 {SECRET}",
    "M 0 0 L 90 0 <script>",
    "M 0 0 A 50 50 0 2 1 90 0",
    "M 0 0 A 50 50 0 1 1",
    "M 0 0 A 50 50 0 0 1 90 0 -5 5 0 0 1 9 9",
    "M 0 0 L 90 0 url(#a)",
]


@pytest.mark.parametrize("path", NOT_PATHS)
def test_what_is_no_whole_path_is_refused_and_never_cut_short(path):
    caught = refusal(svg_path=path, mm_per_unit=1.0)
    assert caught.status == 422
    assert [fault.path for fault in caught.faults] == ["/svg_path"]
    assert "must be the path data" in str(caught)
    assert SECRET not in str(caught)


HOSTILE = {
    "empty": ("", 422, "draws nothing"),
    "blank": (" \n ", 422, "draws nothing"),
    "only a move": ("M 5 5", 422, "draws nothing"),
    "a place": ("M 5 5 L 5 5", 422, "two points in different places"),
    "a closed place": ("M 5 5 Z", 422, "two points in different places"),
    "a line and a place": ("M 0 0 H 90 M 5 5 l 0.001 0", 422, "two points in different places"),
    "there and back, closed": ("M 0 0 H 90 Z", 422, "at least three points"),
    "beyond all numbers": ("M 0 0 L 1e999 0", 422, "may be larger than"),
    "very far": ("M 0 0 L 1e300 0", 422, "may be larger than"),
    "too far": ("M 0 0 L 1e6 0", 422, "fit into 190 by 115 mm"),
    "far by small steps": ("M 0 0" + "l 9 0" * 3_000, 422, "fit into"),
    "far controls": ("M 0 0 C 1e6 1e6 -1e6 1e6 90 0", 413, "more than 10000 points"),
    "a huge circle": ("M 0 0 A 1e6 1e6 0 1 1 90 0", 413, "more than 10000 points"),
    "thousands of arcs": ("M 0 0" + "a1 1 0 1 0 .1 0" * 1_300, 413, "more than 10000 points"),
    "many lines": ("M 0 0" + "h 1m 0 1" * 101, 413, "at most 100 separate"),
    "no radius to speak of": ("M 0 0 A 1e-300 1e-300 0 1 1 50 0", 422, "radius too small"),
    "long": ("M 0 0 " + "1 " * MAX_LETTERS, 422, "at most 20000 characters"),
    "a long number": ("M 0 0 H " + "9" * 19_000, 422, "may be larger than"),
    "many closes": ("M 0 0 h 1" + "Z" * 19_000, 413, "at most 100 separate"),
    "short": ("M 0 0 H 9.9", 422, "at least 10 mm"),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_path_is_refused_at_once_in_a_sentence(name):
    path, status, says = HOSTILE[name]
    begun_s = time.perf_counter()
    caught = refusal(svg_path=path, mm_per_unit=1.0)
    # The slowest takes about a tenth of this.
    assert time.perf_counter() - begun_s < 2.0
    (fault,) = caught.faults
    assert (caught.status, fault.path) == (status, "/svg_path")
    assert says in fault.detail
    assert fault.detail.endswith(".")


@pytest.mark.parametrize(
    ("fields", "path"),
    [
        ({}, ""),
        ({"svg_path": "M 0 0 H 90", "mm_per_unit": 1.0, "points_mm": [[0, 0], [90, 0]]}, ""),
        ({"svg_path": "M 0 0 H 90"}, "/mm_per_unit"),
        ({"svg_path": "M 0 0 H 90", "mm_per_unit": 0.0}, "/mm_per_unit"),
        ({"svg_path": "M 0 0 H 90", "mm_per_unit": -1.0}, "/mm_per_unit"),
        ({"svg_path": "M 0 0 H 90", "mm_per_unit": float("nan")}, "/mm_per_unit"),
        ({"svg_path": "M 0 0 H 90", "mm_per_unit": 1001.0}, "/mm_per_unit"),
        ({"svg_path": 5, "mm_per_unit": 1.0}, "/svg_path"),
        ({"points_mm": []}, "/points_mm"),
        ({"points_mm": [[5, 5]]}, "/points_mm"),
        ({"points_mm": [[5, 5], [5, 5]]}, "/points_mm"),
        ({"points_mm": [[5, 5], [5.001, 5]]}, "/points_mm"),
        ({"points_mm": [[0, 0], [200, 0]]}, "/points_mm"),
        ({"points_mm": [[0, 0], [0, 116]]}, "/points_mm"),
        ({"points_mm": [[0, 0], [278, 0]], "medium": "paper"}, "/points_mm"),
        ({"points_mm": [[0, 0], [188, 200]], "medium": "paper"}, "/points_mm"),
        ({"points_mm": [[0, 0], [9, 0]]}, "/points_mm"),
        ({"points_mm": [[0, 0], [90, 0]], "closed": True}, "/points_mm"),
        ({"points_mm": [[0, 0], [90]]}, "/points_mm/1"),
        ({"points_mm": [[0, 0], [90, SECRET]]}, "/points_mm/1/1"),
        ({"points_mm": [[0, 0], [90, float("inf")]]}, "/points_mm/1/1"),
        ({"points_mm": [[0, 0], [90, 1e300]]}, "/points_mm/1/1"),
        ({"points_mm": [[0, 0], [90, 0]], "medium": "wall"}, "/medium"),
        ({"points_mm": [[0, 0], [90, 0]], "name": ""}, "/name"),
        ({"points_mm": [[0, 0], [90, 0]], "name": f"{SECRET}\n"}, "/name"),
    ],
)
def test_what_cannot_be_a_line_is_refused_with_its_place(fields, path):
    caught = refusal(**fields)
    assert [fault.path for fault in caught.faults] == [path]
    assert all(fault.detail.endswith(".") for fault in caught.faults)
    assert SECRET not in str(caught)


def test_more_points_than_a_guide_may_have_are_too_large():
    points = [[x, 0.0] for x in np.linspace(0.0, 90.0, MAX_POINTS + 1)]
    caught = refusal(points_mm=points)
    assert (caught.status, caught.faults[0].path) == (413, "/points_mm")


def test_as_many_points_as_a_guide_may_have_are_thinned_in_good_time():
    rng = np.random.default_rng(20_260_308)
    points = rng.uniform(0.0, 110.0, (MAX_POINTS, 2))
    begun_s = time.perf_counter()
    task = made(points_mm=points.tolist())
    assert time.perf_counter() - begun_s < 5.0
    assert len(task["parts"][0]["points_mm"]) <= MAX_POINTS


@given(st.text(alphabet="MmZzLlHhVvCcSsQqTtAa0123456789.-+eE, \n", max_size=60))
def test_any_text_of_a_path_s_letters_is_a_task_or_a_refusal(text):
    fields = CustomGuideFields(name="Kite tail", svg_path="M 0 0 H 30 " + text, mm_per_unit=1.0)
    try:
        task = custom_task(fields, task_id="own-1")
    except BadDocument as bad:
        places = {fault.path for fault in bad.faults}
    else:
        places = {"/svg_path"}
        TaskDocument.model_validate(task)
    assert places == {"/svg_path"}
