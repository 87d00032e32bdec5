"""Documents for paper say what they were given, on pages that fit."""

import subprocess
from io import BytesIO
from pathlib import Path

from PIL import Image

from server.printed import Block, Heading, Paragraph, Picture, Table, printed

CAUTION = "Compared only with this child's own trials."


def png(width: int, height: int) -> bytes:
    found = BytesIO()
    Image.new("RGB", (width, height), "#0F6B6B").save(found, "png")
    return found.getvalue()


def pages(pdf: bytes, folder: Path) -> list[str]:
    """Text of every page."""
    file = folder / "paper.pdf"
    file.write_bytes(pdf)
    asked = ["pdftotext", "-layout", str(file), "-"]
    said = subprocess.run(asked, check=True, capture_output=True, text=True).stdout
    return said.split("\f")[:-1]


def test_words_stand_as_they_were_given_and_are_no_markup(tmp_path: Path) -> None:
    words = "On the path for 91 % <b>of</b> & ≤ 6 mm. Żółw, Жук"
    (page,) = pages(printed("Page of Gull", [Paragraph(words)], [CAUTION]), tmp_path)
    assert "Page of Gull" in page
    assert words in page
    assert CAUTION in page


def test_a_long_table_repeats_its_head_and_every_page_its_caution(tmp_path: Path) -> None:
    rows = [[f"Row {number}", f"{number} mm"] for number in range(120)]
    table = Table(["Measure", "Value"], rows, frozenset({1}))
    found = pages(printed("Report", [Heading("All"), table], [CAUTION]), tmp_path)
    assert len(found) > 2
    assert all("Measure" in page and CAUTION in page for page in found)
    assert [word for page in found for word in page.split() if word == "Row"] == ["Row"] * 120
    assert [page.split()[-1] for page in found] == [str(i + 1) for i in range(len(found))]


def test_a_word_is_not_broken_because_another_column_is_long(tmp_path: Path) -> None:
    table = Table(["Spread", "Days", "Meaning"], [["Within", "49", "a long sentence " * 20]])
    (page,) = pages(printed("A", [table]), tmp_path)
    assert page.split("a long")[0].split() == ["A", "Spread", "Days", "Meaning", "Within", "49"]


def test_a_heading_is_never_alone_at_the_foot(tmp_path: Path) -> None:
    for lines in range(20, 60):
        blocks: list[Block] = [Paragraph(f"Line {k}") for k in range(lines)]
        found = pages(printed("A", [*blocks, Heading("Below"), Paragraph("follows")]), tmp_path)
        page = next(one for one in found if "Below" in one)
        assert "follows" in page, lines


def test_a_picture_of_any_shape_fits_and_is_told_in_words(tmp_path: Path) -> None:
    for size in ((3000, 20), (20, 3000), (600, 400)):
        pdf = printed("A", [Picture(png(*size), "A line along the quay.")])
        assert sum("A line along the quay." in one for one in pages(pdf, tmp_path)) == 1


def test_equal_input_gives_equal_bytes_and_no_word_of_it_in_the_properties() -> None:
    one, other = (printed("Gull", [Table(["A"], [])]) for _ in range(2))
    assert one == other
    assert b"Gull" not in one
