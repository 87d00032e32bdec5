"""Two plainer ways to match a trace, to say by how much ours is better.

`plain_s_mm` is hidden-Markov matching as it was first written down: the same costs, but
no merging of feet with hardly a ridge between them and no standing still at a vertex.
`nearest_s_mm` takes the nearest point of the whole guide. Neither is used by Linnet.
"""

import numpy as np
from scipy.spatial import cKDTree

from analysis.alignment import project
from analysis.guide import Guide
from analysis.thinning import keypoints
from analysis.trace import BoolArray, FloatArray, IntArray

GRID_MM = 0.25
SPACING_MM, CANDIDATES, SIGMA_MM = 1.0, 6, 3.0
JUMP_COST, BACK_COST_PER_MM, START_COST_PER_MM = 60.0, 0.1, 0.05
LIFT_COST, LIFT_COST_PER_MM = 6.0, 0.1
NO_COST = 1e6


def _grid_s_mm(guide: Guide, step_mm: float) -> FloatArray:
    count = int(np.ceil(guide.length_mm / step_mm)) + 1
    return np.linspace(0, guide.length_mm * (1 - 1e-12), count)


def nearest_s_mm(guide: Guide, xy_mm: FloatArray) -> FloatArray:
    """Progress of the nearest point of the whole guide."""
    grid_s_mm = _grid_s_mm(guide, 0.1)
    return grid_s_mm[cKDTree(guide.point_at(grid_s_mm)).query(xy_mm)[1]]


def _minima(guide: Guide, grid_s_mm: FloatArray, away_mm: FloatArray) -> BoolArray:
    """Whether each place of the grid is a local minimum of the distance, shape (k, m)."""
    part = guide.segment_part[guide.segment_at(grid_s_mm)]
    edge = np.diff(part) != 0
    rises = np.diff(away_mm, axis=1)
    before = np.pad(np.where(edge, -1.0, rises), ((0, 0), (1, 0)), constant_values=-1.0)
    after = np.pad(np.where(edge, 1.0, rises), ((0, 0), (0, 1)), constant_values=1.0)
    return (before < 0) & (after >= 0)


def _change_mm(guide: Guide, change_mm: FloatArray) -> FloatArray:
    if not guide.closed:
        return change_mm
    half = guide.length_mm / 2
    return half - np.mod(half - change_mm, guide.length_mm)


def _path(first: FloatArray, emission: FloatArray, transition: FloatArray) -> IntArray:
    total, came_from = first + emission[0], []
    for cost, here in zip(transition, emission[1:], strict=True):
        through = total[:, None] + cost
        came_from.append(through.argmin(axis=0))
        total = through.min(axis=0) + here
    path = [int(total.argmin())]
    for back in reversed(came_from):
        path.append(int(back[path[-1]]))
    return np.array(path[::-1])


def plain_s_mm(guide: Guide, xy_mm: FloatArray, stroke: IntArray) -> FloatArray:
    """Progress by the plain version, every sample projected near its keypoints."""
    keypoint = keypoints(xy_mm, stroke, SPACING_MM)
    points_mm = xy_mm[keypoint]
    grid_s_mm = _grid_s_mm(guide, GRID_MM)
    grid_mm = guide.point_at(grid_s_mm)
    away_mm = np.hypot(*(points_mm[:, None] - grid_mm).transpose(2, 0, 1))
    away_mm = np.where(_minima(guide, grid_s_mm, away_mm), away_mm, NO_COST)
    best = np.argpartition(away_mm, CANDIDATES, axis=1)[:, :CANDIDATES]
    emission = away_mm[np.arange(len(best))[:, None], best] / SIGMA_MM
    s_mm = grid_s_mm[best]
    tangent = guide.segment_tangent[guide.segment_at(s_mm)]

    move_mm = np.diff(points_mm, axis=0)
    change_mm = _change_mm(guide, s_mm[1:, None, :] - s_mm[:-1, :, None])
    before = np.einsum("kc,knc->kn", move_mm, tangent[:-1])[:, :, None]
    after = np.einsum("kc,knc->kn", move_mm, tangent[1:])[:, None, :]
    low, high = np.minimum(before, after), np.maximum(before, after)
    excess_mm = np.maximum(np.maximum(low - change_mm, change_mm - high), 0.0)
    back = np.where(excess_mm < JUMP_COST, BACK_COST_PER_MM * np.maximum(0.0, -change_mm), 0.0)
    drawn = np.minimum(excess_mm, JUMP_COST) + back
    lifted = np.minimum(LIFT_COST, LIFT_COST_PER_MM * np.abs(change_mm))
    lift = np.diff(stroke[keypoint]) != 0
    ahead_mm = np.minimum(s_mm[0], guide.length_mm - s_mm[0]) if guide.closed else s_mm[0]
    path = _path(
        START_COST_PER_MM * ahead_mm, emission, np.where(lift[:, None, None], lifted, drawn)
    )
    steps = np.arange(len(keypoint) - 1)
    change = change_mm[steps, path[:-1], path[1:]]
    found_mm = s_mm[0, path[0]] + np.concatenate([[0.0], np.cumsum(change)])
    breaks = np.append((excess_mm[steps, path[:-1], path[1:]] > 10.0) | lift, True)
    travelled_mm = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy_mm, axis=0).T))])
    near_mm = np.interp(travelled_mm, travelled_mm[keypoint], found_mm)
    owner = np.searchsorted(keypoint, np.arange(len(xy_mm)), side="right") - 1
    near_mm = np.where(breaks[owner], found_mm[owner], near_mm)
    return project(guide, xy_mm, near_mm)[0]
