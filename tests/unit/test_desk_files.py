"""Templates and style of the desk: nothing inline, nothing foreign, enough contrast."""

import re
from pathlib import Path

import pytest

from server.figures_style import AMBER, CARD, INK, LINE, MUTED, PLUM, RUST, TEAL

DESK = Path(__file__).parents[2] / "web" / "desk"
TEMPLATES = sorted(DESK.glob("*.html"))
STYLE = (DESK / "desk.css").read_text()
LEAST_CONTRAST = 4.5  # WCAG 2.2, 1.4.3, text of normal size


def tokens(dark: bool) -> dict[str, str]:
    blocks = re.findall(r":root \{([^}]*)\}", STYLE)
    return dict(re.findall(r"--([a-z-]+): (#[0-9A-F]{6});", blocks[1 if dark else 0]))


def luminance(colour: str) -> float:
    """Relative luminance of WCAG 2.2."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_contrast_is_counted_as_the_standard_does() -> None:
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21.0)  # [P] WCAG 2.2
    assert contrast("#777777", "#FFFFFF") == pytest.approx(4.48, abs=0.01)  # [P] known border case


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize("ground", ["paper", "card"])
@pytest.mark.parametrize("colour", ["ink", "muted", "teal", "rust", "plum", "amber"])
def test_every_colour_of_words_can_be_read(colour: str, ground: str, dark: bool) -> None:
    known = tokens(dark)
    assert contrast(known[colour], known[ground]) >= LEAST_CONTRAST


@pytest.mark.parametrize("dark", [False, True])
def test_words_on_a_button_can_be_read(dark: bool) -> None:
    known = tokens(dark)
    assert contrast(known["on-teal"], known["teal"]) >= LEAST_CONTRAST


def test_pictures_and_pages_share_their_colours() -> None:
    known = tokens(dark=False)
    drawn = {"card": CARD, "ink": INK, "muted": MUTED, "line": LINE, "teal": TEAL, "rust": RUST}
    drawn |= {"plum": PLUM, "amber": AMBER}
    assert {name: known[name] for name in drawn} == drawn


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: path.name)
def test_no_template_has_inline_script_or_style_or_loads_from_elsewhere(path: Path) -> None:
    text = path.read_text()
    assert not re.search(r"\sstyle\s*=", text)
    assert "<style" not in text
    assert not re.search(r"<script(?![^>]*\ssrc=)", text)
    assert not re.search(r"\son[a-z]+\s*=", text)
    assert not re.search(r"(?:src|href|action|srcset)\s*=\s*\"(?:https?:)?//", text)


def test_the_style_loads_nothing() -> None:
    assert "@import" not in STYLE
    assert "url(" not in STYLE


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: path.name)
def test_every_form_field_has_a_label_and_every_picture_its_words(path: Path) -> None:
    text = path.read_text()
    for field in re.findall(r"<(?:input|select)[^>]*\sid=\"([^\"]+)\"", text):
        assert f'for="{field}"' in text
    for picture in re.findall(r"<img[^>]*>", text):
        assert re.search(r"alt=\"[^\"]+\"", picture)
