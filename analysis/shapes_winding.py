"""Shapes whose lines lie close together or cross: hard cases for the alignment."""

import numpy as np

from analysis.errors import BadGuide
from analysis.flattening import TABLE_POINTS, check_count, check_positive, flattened, settled
from analysis.trace import FloatArray


def spiral(pitch_mm: float, turns: float, *, inner_radius_mm: float = 0.0) -> FloatArray:
    """Archimedean spiral from the inside out, clockwise on the page.

    Parameters
    ----------
    pitch_mm : float
        Distance between neighbouring turns. [mm]
    turns : float
        Number of turns. [1]
    inner_radius_mm : float
        Distance of the first point from the centre. [mm]

    Returns
    -------
    ndarray, shape (n, 2)
        Vertices. [mm]
    """
    check_positive(pitch_mm=pitch_mm, turns=turns)
    if inner_radius_mm < 0:
        raise BadGuide(f"inner_radius_mm must be at least 0, got {inner_radius_mm}")

    def curve(u: FloatArray) -> FloatArray:
        radius_mm = inner_radius_mm + pitch_mm * u / (2 * np.pi)
        return np.column_stack([radius_mm * np.cos(u), radius_mm * np.sin(u)])

    return settled(flattened(curve, 0.0, 2 * np.pi * turns))


def hairpin(leg_mm: float, gap_mm: float) -> FloatArray:
    """Upper leg to the right, half a circle, lower leg back to the left.

    Parameters
    ----------
    leg_mm : float
        Straight length of each leg. [mm]
    gap_mm : float
        Distance between the legs. [mm]

    Returns
    -------
    ndarray, shape (n, 2)
        Vertices. [mm]
    """
    check_positive(leg_mm=leg_mm, gap_mm=gap_mm)

    def bend(u: FloatArray) -> FloatArray:
        return 0.5 * gap_mm * np.column_stack([np.sin(u), 1 - np.cos(u)]) + [leg_mm, 0.0]

    return settled(np.vstack([[[0.0, 0.0]], flattened(bend, 0.0, np.pi), [[0.0, gap_mm]]]))


def letter_loops(
    pitch_mm: float, height_mm: float, *, count: int, loop_mm: float, slant: float = 0.2
) -> FloatArray:
    """Row of joined writing loops from left to right; every loop crosses itself once.

    Parameters
    ----------
    pitch_mm : float
        From one loop to the next. [mm]
    height_mm : float
        Height of the row. [mm]
    count : int
        How many loops. [1]
    loop_mm : float
        Half the swing to and fro; loops close when it exceeds pitch / (2 pi). [mm]
    slant : float
        Sideways lean per height, to the right. [1]

    Returns
    -------
    ndarray, shape (n, 2)
        Vertices. [mm]
    """
    check_count("count", count, 1)
    check_positive(pitch_mm=pitch_mm, height_mm=height_mm, loop_mm=loop_mm)
    if loop_mm <= pitch_mm / (2 * np.pi):
        raise BadGuide(f"loop_mm must exceed pitch_mm / (2 pi) = {pitch_mm / (2 * np.pi):.2f}")

    def curve(u: FloatArray) -> FloatArray:
        y_mm = 0.5 * height_mm * np.cos(u)
        x_mm = pitch_mm * u / (2 * np.pi) + loop_mm * np.sin(u)
        return np.column_stack([x_mm - slant * y_mm, y_mm])

    return settled(flattened(curve, 0.0, 2 * np.pi * count))


def random_smooth(
    seed: int, *, length_mm: float = 250.0, turn_deg: float = 60.0, waves: int = 4
) -> FloatArray:
    """Smooth path without corners that nobody designed: the same for the same seed.

    Parameters
    ----------
    seed : int
        Chooses the path. [1]
    length_mm : float
        Length of the true curve. [mm]
    turn_deg : float
        Typical swing of the heading; above about 100 the path may cross itself. [deg]
    waves : int
        Fastest change of heading, in periods over the whole path. [1]

    Returns
    -------
    ndarray, shape (n, 2)
        Vertices. [mm]
    """
    check_count("waves", waves, 1)
    check_positive(length_mm=length_mm, turn_deg=turn_deg)
    rng = np.random.default_rng(seed)
    phase = rng.uniform(0.0, 2 * np.pi, waves)
    size = np.radians(turn_deg) * rng.uniform(0.5, 1.0, waves) * np.sqrt(2.0 / waves)
    s_mm = np.linspace(0.0, length_mm, TABLE_POINTS)
    turns = np.outer(s_mm / length_mm, 2 * np.pi * np.arange(1, waves + 1)) + phase
    heading = np.sin(turns) @ size
    middle = 0.5 * (heading[1:] + heading[:-1])
    step_mm = np.diff(s_mm)[:, None] * np.column_stack([np.cos(middle), np.sin(middle)])
    path_mm = np.vstack([[[0.0, 0.0]], np.cumsum(step_mm, axis=0)])

    def curve(u: FloatArray) -> FloatArray:
        return np.column_stack([np.interp(u, s_mm, path_mm[:, k]) for k in (0, 1)])

    return settled(flattened(curve, 0.0, length_mm))
