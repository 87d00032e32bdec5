"""Words on a picture, put where they cover the least."""

from typing import Literal

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.transforms import Bbox, offset_copy
from numpy.typing import ArrayLike

from analysis.trace import FloatArray
from server.figures_style import CARD, INK, SMALL_PT

# Tried in this order, so that equal pictures get equal labels.
_ANGLES_DEG = (90, 270, 0, 180, 45, 135, 315, 225, 65, 115, 245, 295)
_REACHES_PT = (11, 17, 25, 36, 50)
_LEADER_FROM_PT = 22
_PAD_PX = 3.0
# Below this share of its reach a word counts as level with its point.
_LEVEL = 0.35

Point = tuple[float, float]


class Labels:
    """Places short words beside points of an axes whose limits are final.

    Parameters
    ----------
    axes : matplotlib.axes.Axes
        Drawn on a figure with an Agg canvas, so that text can be measured.
    """

    def __init__(self, axes: Axes) -> None:
        figure = axes.figure
        if not isinstance(figure, Figure) or not isinstance(figure.canvas, FigureCanvasAgg):
            raise TypeError("labels are measured on a figure with an Agg canvas")
        self._axes = axes
        self._figure = figure
        self._renderer = figure.canvas.get_renderer()  # type: ignore[no-untyped-call]
        self._dots: list[FloatArray] = []
        self._weights: list[FloatArray] = []
        self._taken: list[Bbox] = []

    def avoid(self, xy: ArrayLike, weight: float = 1.0) -> None:
        """Name points [data units] that a word had better not cover."""
        points = np.asarray(xy, dtype=np.float64).reshape(-1, 2)
        if len(points):
            self._dots.append(np.asarray(self._axes.transData.transform(points)))
            self._weights.append(np.full(len(points), weight))

    def keep_clear(self, xy: Point, radius_pt: float) -> None:
        """Keep words off a mark of the given radius about a point [data units]."""
        x, y = self._axes.transData.transform(xy)
        reach = self._px(radius_pt)
        self._taken.append(Bbox([[x - reach, y - reach], [x + reach, y + reach]]))

    def put(
        self,
        text: str,
        xy: Point,
        *,
        colour: str = INK,
        size_pt: float = SMALL_PT,
        clear_pt: float = 0.0,
        clear_mm: float = 0.0,
    ) -> None:
        """Write `text` beside the point `xy` [data units], clear of a mark of that radius."""
        clear_pt += self._points(clear_mm)
        choices = [
            (self._cost(text, xy, angle, reach + clear_pt, size_pt), angle, reach + clear_pt)
            for reach in _REACHES_PT
            for angle in _ANGLES_DEG
        ]
        _, angle, reach = min(choices, key=lambda choice: choice[0])
        label = self._text(text, xy, angle, reach, size_pt)
        label.set_color(colour)
        self._taken.append(self._extent(label))
        if reach - clear_pt >= _LEADER_FROM_PT:
            self._leader(xy, angle, reach, clear_pt, colour)

    def _points(self, size_mm: float) -> float:
        """Return a size in data units as points on paper. [pt]"""
        (x0, _), (x1, _) = self._axes.transData.transform([(0.0, 0.0), (size_mm, 0.0)])
        return abs(float(x1 - x0)) * 72.0 / float(self._figure.dpi)

    def _px(self, points: float) -> float:
        return points * float(self._figure.dpi) / 72.0

    def _text(self, text: str, xy: Point, angle: float, reach: float, size: float) -> Text:
        across, up = np.cos(np.deg2rad(angle)), np.sin(np.deg2rad(angle))
        place = offset_copy(
            self._axes.transData,
            fig=self._figure,
            x=reach * across,
            y=reach * up,
            units="points",
        )
        label = self._axes.text(xy[0], xy[1], text, transform=place, fontsize=size, zorder=20)
        label.set_horizontalalignment(_across(float(across)))
        label.set_verticalalignment(_up(float(up)))
        label.set_bbox({"facecolor": CARD, "edgecolor": "none", "alpha": 0.8, "pad": 1.2})
        return label

    def _extent(self, label: Text) -> Bbox:
        box = label.get_window_extent(self._renderer)
        return Bbox.from_extents(
            box.x0 - _PAD_PX, box.y0 - _PAD_PX, box.x1 + _PAD_PX, box.y1 + _PAD_PX
        )

    def _cost(self, text: str, xy: Point, angle: float, reach: float, size: float) -> float:
        label = self._text(text, xy, angle, reach, size)
        box = self._extent(label)
        label.remove()
        cost = 0.02 * reach
        for dots, weights in zip(self._dots, self._weights, strict=True):
            inside = ((dots > box.min) & (dots < box.max)).all(axis=1)
            cost += float(weights[inside].sum())
        cost += sum(60.0 for other in self._taken if box.overlaps(other))
        view = self._axes.get_window_extent(self._renderer)
        over_px = (view.x0 - box.x0, view.y0 - box.y0, box.x1 - view.x1, box.y1 - view.y1)
        spill_px = sum(max(0.0, float(over)) for over in over_px)
        return cost + 40.0 * (spill_px > 0) + spill_px

    def _leader(self, xy: Point, angle: float, reach: float, clear: float, colour: str) -> None:
        turn = np.deg2rad(angle)
        way = np.array([np.cos(turn), np.sin(turn)])
        self._axes.annotate(
            "",
            xy=(xy[0], xy[1]),
            xytext=tuple(way * (reach - 1.0)),
            textcoords="offset points",
            arrowprops={
                "arrowstyle": "-",
                "color": colour,
                "linewidth": 0.7,
                "shrinkA": 0.0,
                "shrinkB": clear,
            },
            zorder=19,
        )


def _across(way: float) -> Literal["left", "center", "right"]:
    if abs(way) <= _LEVEL:
        return "center"
    return "left" if way > 0 else "right"


def _up(way: float) -> Literal["bottom", "center", "top"]:
    if abs(way) <= _LEVEL:
        return "center"
    return "bottom" if way > 0 else "top"
