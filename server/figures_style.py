"""The look that all pictures share, and how a picture becomes bytes."""

import io
import textwrap
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Literal

import matplotlib as mpl
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from server.sentences import NO_NORM

Kind = Literal["svg", "png", "pdf"]
MEDIA_TYPES: dict[Kind, str] = {
    "svg": "image/svg+xml",
    "png": "image/png",
    "pdf": "application/pdf",
}

CARD = "#FFFFFF"
INK = "#1F2A37"
MUTED = "#5A6472"
LINE = "#CFC7B8"
TEAL = "#0F6B6B"
RUST = "#A8481F"
PLUM = "#6B3F7A"
AMBER = "#7A5200"
CORRIDOR = "#E9E2D3"
CORRIDOR_EDGE = "#BFB5A0"
GUIDE = "#9A907C"
DISTANCE_MAP = "cividis"

TEXT_PT = 10.5
SMALL_PT = 9.0
CAUTION_PT = 7.5
PNG_DPI = 160

# Everything that could differ between two machines is fixed here, so that the same
# trial gives the same bytes.
_SETTINGS: Any = {
    "svg.hashsalt": "linnet",
    "svg.fonttype": "path",
    "pdf.fonttype": 42,
    "pdf.compression": 6,
    "font.family": ["DejaVu Sans"],
    "font.size": TEXT_PT,
    "text.color": INK,
    "text.usetex": False,
    "axes.edgecolor": LINE,
    "axes.facecolor": "none",
    "axes.labelcolor": MUTED,
    "axes.labelsize": SMALL_PT,
    "axes.linewidth": 0.8,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.unicode_minus": True,
    "figure.facecolor": CARD,
    "figure.dpi": 100.0,
    "hatch.linewidth": 0.6,
    "lines.solid_capstyle": "round",
    "lines.solid_joinstyle": "round",
    "savefig.facecolor": CARD,
    "xtick.color": LINE,
    "ytick.color": LINE,
    "xtick.labelcolor": MUTED,
    "ytick.labelcolor": MUTED,
    "xtick.labelsize": SMALL_PT,
    "ytick.labelsize": SMALL_PT,
}

# No date and no name of a program in the file.
_METADATA: dict[Kind, dict[str, None]] = {
    "svg": {"Date": None, "Creator": None},
    "png": {"Software": None},
    "pdf": {"CreationDate": None, "Creator": None, "Producer": None},
}

# matplotlib's settings and caches belong to the whole process; requests come on threads.
_ONE_AT_A_TIME = threading.RLock()


@contextmanager
def style() -> Iterator[None]:
    """Hold matplotlib to the settings of all pictures, one thread at a time."""
    with _ONE_AT_A_TIME, mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(_SETTINGS)
        yield


def empty_figure(width_in: float, height_in: float) -> Figure:
    """Return a blank figure of the given size [in] that can be measured and drawn."""
    figure = Figure(figsize=(width_in, height_in), facecolor=CARD)
    FigureCanvasAgg(figure)
    return figure


def draw_caution(figure: Figure, left_in: float) -> None:
    """Write at the foot what every picture has to say, also when it travels alone."""
    width_in, height_in = figure.get_size_inches()
    # A letter of this size is about 0.055 in wide.
    lines = textwrap.wrap(NO_NORM, int((width_in - left_in) / 0.0555))
    figure.text(
        left_in / width_in,
        0.1 / height_in,
        "\n".join(lines),
        fontsize=CAUTION_PT,
        color=MUTED,
        va="bottom",
        linespacing=1.3,
    )


def render(figure: Figure, kind: Kind) -> bytes:
    """Return the picture as a file.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
        The picture.
    kind : {"svg", "png", "pdf"}
        The form of the file. Text becomes outlines in SVG, so that it looks the same
        on every device.

    Returns
    -------
    bytes
        Equal for an equal picture: no date, no random ids.
    """
    if kind not in MEDIA_TYPES:
        raise ValueError(f"kind must be one of {', '.join(MEDIA_TYPES)}, got {kind!r}")
    out = io.BytesIO()
    with style():
        figure.savefig(out, format=kind, dpi=PNG_DPI, metadata=dict(_METADATA[kind]))
    return out.getvalue()
