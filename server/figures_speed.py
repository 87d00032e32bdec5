"""The lower half of a trial picture: how fast the pen went along the line."""

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from analysis.both_hands import Contact
from analysis.guide import Guide
from analysis.quality import SPEED_RATE_HZ
from analysis.trace import FloatArray
from analysis.workings import Workings
from server.figures_marks import busy, pause_area_pt2, pauses_of
from server.figures_style import CARD, CORRIDOR, INK, LINE, MUTED, PLUM, RUST, SMALL_PT

# The fastest hundredth is mostly noise; it may leave the panel.
TOP_SHARE = 99.0
ROOM_ABOVE = 1.2
SLOWEST_TOP_MM_S = 20.0
NOT_DRAWN_FROM_MM = 2.0
LATE_SHARE = 0.85
# The two contacts of mode ``both``.
CONTACT_LINES: tuple[Any, Any] = ("-", (0, (4, 1.6)))


def speed_reason(workings: Workings) -> str | None:
    """Say in words why there is no speed to draw; None when there is."""
    if len(workings.trace.xy_mm) == 0:
        return "Nothing was drawn, so there is no speed to show."
    if workings.trial.mode == "tap":
        return "Dots are touched, so there is no speed along a line."
    if workings.trace.t_s is None:
        return "No times were recorded, so no speed can be shown."
    if workings.kinematics is None:
        return "The tablet's clock went back or stood still, so no speed can be shown."
    if not workings.quality.meets(SPEED_RATE_HZ):
        return "The tablet reported too few points a second to show a speed."
    if not workings.pausing:
        return "The record has gaps too long to show a speed."
    return None


def draw_speed(axes: Axes, workings: Workings, report: dict[str, Any]) -> None:
    """Draw speed against progress; against time when there is no line to follow."""
    if workings.kinematics is None:
        raise ValueError("there is no speed to draw: ask speed_reason first")
    pieces = workings.kinematics.pieces
    contacts = workings.contacts
    along = workings.guide is not None and all(piece.s_mm is not None for piece in pieces)
    top = _top(np.concatenate([piece.speed_mm_s for piece in pieces]))
    axes.set_ylim(-0.06 * top, top)
    width_pt = 0.7 if busy(workings) else 1.3
    for contact in contacts:
        _draw_contact(axes, contact)
    for piece in () if contacts else pieces:
        across = piece.s_mm if along and piece.s_mm is not None else piece.t_s
        axes.plot(across, piece.speed_mm_s, color=INK, linewidth=width_pt, zorder=4, gid="speed")
    calibrated = bool(report["quality"]["calibrated"])
    _frame(
        axes,
        calibrated,
        "along the line" if along else "of both contacts" if contacts else "of the pen",
    )
    if along and workings.guide is not None:
        _draw_progress(axes, workings, workings.guide, pieces_mm(workings), calibrated)
    else:
        axes.set_xlabel("time, s")
    _draw_pauses(axes, workings, along=along)


def _draw_contact(axes: Axes, contact: Contact) -> None:
    moving = contact.workings.kinematics
    for piece in () if moving is None else moving.pieces:
        axes.plot(
            piece.t_s,
            piece.speed_mm_s,
            color=INK,
            linewidth=1.3,
            linestyle=CONTACT_LINES[contact.pointer],
            zorder=4,
            gid="speed",
        )


def pieces_mm(workings: Workings) -> FloatArray:
    """All progress values that the panel shows. [mm]"""
    if workings.kinematics is None:
        return np.zeros(0)
    known = [piece.s_mm for piece in workings.kinematics.pieces if piece.s_mm is not None]
    return np.concatenate(known) if known else np.zeros(0)


def midline_progress_mm(guide: Guide) -> list[float]:
    """Progress at which a guide passes its midline. [mm]"""
    if guide.midline_x_mm is None:
        return []
    first_mm = guide.segment_start_mm[:, 0] - guide.midline_x_mm
    last_mm = first_mm + guide.segment_vector_mm[:, 0]
    passes = np.flatnonzero((first_mm < 0) != (last_mm < 0))
    share = first_mm[passes] / (first_mm[passes] - last_mm[passes])
    return [float(v) for v in guide.segment_s_mm[passes] + share * guide.segment_length_mm[passes]]


def _top(speed_mm_s: FloatArray) -> float:
    usual = float(np.percentile(speed_mm_s, TOP_SHARE)) if len(speed_mm_s) else 0.0
    return max(SLOWEST_TOP_MM_S, usual * ROOM_ABOVE)


def _frame(axes: Axes, calibrated: bool, whose: str) -> None:
    axes.axhline(0.0, color=LINE, linewidth=0.8, zorder=1)
    axes.spines["bottom"].set_visible(False)
    axes.spines["left"].set_visible(False)
    axes.tick_params(length=0, pad=3)
    axes.yaxis.set_major_locator(MaxNLocator(nbins=3, min_n_ticks=2, steps=[1, 2, 2.5, 5, 10]))
    axes.grid(axis="y", color=LINE, linewidth=0.5, alpha=0.6)
    axes.set_axisbelow(True)
    title = f"speed {whose}, mm/s"
    if not calibrated:
        axes.set_yticklabels([])
        axes.yaxis.set_major_formatter("")
        title = f"speed {whose}; no scale, the screen was not calibrated"
    axes.set_title(title, loc="left", fontsize=SMALL_PT, color=MUTED, pad=5)


def _draw_progress(
    axes: Axes, workings: Workings, guide: Guide, s_mm: FloatArray, calibrated: bool
) -> None:
    length_mm = guide.length_mm
    low, high = min(0.0, float(s_mm.min(initial=0.0))), max(length_mm, float(s_mm.max(initial=0)))
    axes.set_xlim(low - 0.01 * (high - low), high + 0.01 * (high - low))
    _label_progress(axes, length_mm, calibrated, workings)
    _draw_not_drawn(axes, workings, length_mm)
    for at_mm in midline_progress_mm(guide):
        axes.axvline(
            at_mm, color=PLUM, linewidth=1.2, linestyle=(0, (6, 4)), zorder=2, gid="midline"
        )
        late = at_mm > LATE_SHARE * length_mm
        axes.annotate(
            "midline",
            (at_mm, 1.0),
            xycoords=axes.get_xaxis_transform(),
            xytext=(-4 if late else 4, 1),
            textcoords="offset points",
            color=PLUM,
            fontsize=8.0,
            va="top",
            ha="right" if late else "left",
        )
    _draw_events(axes, workings)
    for part_mm in np.cumsum([_part_length(guide, k) for k in range(len(guide.parts) - 1)]):
        axes.axvline(part_mm, color=LINE, linewidth=0.8, zorder=1)


def _draw_events(axes: Axes, workings: Workings) -> None:
    for departure in workings.events["departures"]:
        axes.plot(
            [departure["from_mm"], departure["to_mm"]],
            [0.0, 0.0],
            color=RUST,
            linewidth=4.5,
            solid_capstyle="butt",
            zorder=3,
            gid="departure",
        )
    for lift in workings.events["lifts"]:
        if lift["at_mm"] is not None:
            axes.plot(
                [lift["at_mm"]],
                [0.0],
                marker="|",
                markersize=11,
                color=INK,
                markeredgewidth=1.3,
                zorder=6,
                gid="lift",
            )


def _part_length(guide: Guide, part: int) -> float:
    return float(guide.segment_length_mm[guide.segment_part == part].sum())


def _label_progress(axes: Axes, length_mm: float, calibrated: bool, workings: Workings) -> None:
    way = " in the direction drawn" if _other_way(workings) else ""
    if calibrated:
        axes.set_xlabel(f"distance along the line{way}, mm", labelpad=3)
        axes.xaxis.set_major_locator(MaxNLocator(nbins=8, steps=[1, 2, 2.5, 5, 10]))
        return
    axes.set_xticks(np.linspace(0.0, length_mm, 5), ["0", "25 %", "50 %", "75 %", "100 %"])
    axes.set_xlabel(f"share of the line{way}", labelpad=3)


def _other_way(workings: Workings) -> bool:
    return workings.alignment is not None and workings.alignment.other_way


def _draw_not_drawn(axes: Axes, workings: Workings, length_mm: float) -> None:
    if workings.alignment is None:
        return
    reached = 0.0
    edges = sorted((float(a), float(b)) for a, b in workings.alignment.covered)
    for first, last in [*edges, (length_mm, length_mm)]:
        if first - reached > NOT_DRAWN_FROM_MM:
            axes.axvspan(
                reached,
                first,
                facecolor=CORRIDOR,
                alpha=0.55,
                linewidth=0,
                zorder=0,
                gid="not_drawn",
            )
            if first - reached > 0.16 * length_mm:
                axes.annotate(
                    "not drawn",
                    ((reached + first) / 2.0, 0.5),
                    xycoords=axes.get_xaxis_transform(),
                    ha="center",
                    va="center",
                    fontsize=SMALL_PT,
                    color=MUTED,
                )
        reached = max(reached, last)


def _draw_pauses(axes: Axes, workings: Workings, *, along: bool) -> None:
    for pause in pauses_of(workings):
        if pause["start_ms"] is None:
            continue
        length_s = (pause["end_ms"] - pause["start_ms"]) / 1000.0
        at = pause["at_mm"] if along else (pause["start_ms"] + pause["end_ms"]) / 2000.0
        if at is None:
            continue
        axes.scatter(
            [at],
            [0.0],
            s=pause_area_pt2(length_s) * 0.6,
            facecolor=CARD,
            edgecolor=INK,
            linewidth=1.4,
            zorder=5,
            clip_on=False,
            gid="pause",
        )
