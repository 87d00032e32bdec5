"""Sound trials of dots tapped, dots joined and two hands, and what spoils them."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from analysis import shapes
from analysis.guide import Guide, Part, Target
from analysis.trace import FloatArray, IntArray
from analysis.trial import Trial
from tests.known import beside, trial

RATE_HZ = 120.0
Spoil = Callable[[Trial], Trial]


def dots(places_mm: FloatArray, radius_mm: float = 4.0) -> Guide:
    targets = [Target(float(x), float(y), radius_mm, k) for k, (x, y) in enumerate(places_mm)]
    return Guide(targets=targets)


def to_and_fro(count: int = 14) -> FloatArray:
    """Two places, asked for in turn."""
    return np.array([[40.0 + 90.0 * (k % 2), 60.0] for k in range(count)])


def contacts(places_mm: FloatArray, rate_hz: float) -> Trial:
    """Touches of 75 ms, one every 0.6 s."""
    step_s = np.arange(round(0.075 * rate_hz) + 1) / rate_hz
    count = len(places_mm)
    t_s = np.concatenate([0.4 + 0.6 * k + step_s for k in range(count)])
    number = np.repeat(np.arange(count), len(step_s))
    return trial(None, places_mm[number], t_s, number)


def errors_mm(count: int) -> FloatArray:
    k = np.arange(count)
    return np.column_stack([2.0 * np.sin(2.1 * k) + 0.5, 1.5 * np.cos(1.3 * k)])


def tapping(places_mm: FloatArray, error_mm: FloatArray, rate_hz: float = RATE_HZ) -> Trial:
    made = contacts(places_mm + error_mm, rate_hz)
    return replace(made, mode="tap", guide=dots(places_mm))


def sound_taps(rate_hz: float = RATE_HZ) -> Trial:
    """Fourteen taps to and fro, each a little off."""
    return tapping(to_and_fro(), errors_mm(14), rate_hz)


def seven_dots() -> FloatArray:
    return np.array(
        [[10, 20], [60, 70], [90, 20], [130, 60], [170, 20], [150, 90], [60, 100]], float
    )


def uneven(duration_s: float, rate_hz: float, phase: float = 0.0) -> tuple[FloatArray, FloatArray]:
    """Times, and a share of the way that rises unevenly from 0 to 1."""
    t_s = np.arange(round(duration_s * rate_hz) + 1) / rate_hz
    u = t_s / t_s[-1]
    share = u + 0.03 * (np.sin(2 * np.pi * 4 * u + phase) - np.sin(phase)) / np.pi
    return t_s, share


def join_on(places_mm: FloatArray, rate_hz: float = RATE_HZ) -> Trial:
    """The dots joined by a wavy line, pressing unevenly."""
    guide = dots(places_mm)
    t_s, share = uneven(7.0, rate_hz)
    s_mm = 0.999 * share * guide.length_mm
    xy_mm = beside(guide, s_mm, 1.0 + 0.8 * np.sin(2 * np.pi * s_mm / 23), reach_mm=6.0)
    pressure = 0.5 + 0.2 * np.sin(2 * np.pi * t_s / 1.7)
    made = trial(guide, xy_mm, 0.4 + t_s, pressure=pressure, pressure_band=(0.4, 0.7))
    return replace(made, mode="join")


def sound_join(rate_hz: float = RATE_HZ) -> Trial:
    return join_on(seven_dots(), rate_hz)


def mirrored_waves() -> Guide:
    """Two upright waves of four cycles, mirrored at the midline."""
    points_mm = shapes.sine(160, 12, 4)[:, ::-1]
    left = Part(np.array([60.0, 10.0]) - points_mm * np.array([1, -1]), False, np.array(12.0))
    right = Part(np.array([120.0, 10.0]) + points_mm, False, np.array(12.0))
    return Guide((left, right), midline_x_mm=90.0)


def hands(guide: Guide, xy_mm: list[FloatArray], t_s: list[FloatArray]) -> Trial:
    """Contacts 0 and 1, each in one stroke."""
    pointer: IntArray = np.repeat([0, 1], [len(one) for one in xy_mm])
    made = trial(guide, np.vstack(xy_mm), np.concatenate(t_s), pointer.copy())
    return replace(made, mode="both", trace=replace(made.trace, pointer=pointer))


def part_of(guide: Guide, number: int) -> Guide:
    return replace(guide, parts=(guide.parts[number],))


def together_on(
    guide: Guide, *, last: tuple[float, float] = (0.999, 0.999), rate_hz: float = RATE_HZ
) -> Trial:
    """Both hands 1 mm beside their parts, speeding up and slowing down nearly together."""
    places, times = [], []
    for number, phase in enumerate((0.0, 0.4)):
        one = part_of(guide, number)
        t_s, share = uneven(8.0, rate_hz, phase)
        s_mm = np.clip(share, 0, 1) * last[number] * one.length_mm
        places.append(beside(one, s_mm, 1.0 + 0.5 * np.sin(2 * np.pi * s_mm / 31)))
        times.append(0.4 + t_s)
    return hands(guide, places, times)


def sound_hands(rate_hz: float = RATE_HZ) -> Trial:
    return together_on(mirrored_waves(), rate_hz=rate_hz)


def hold_guide() -> Guide:
    return Guide.from_points(shapes.half_ellipse(180, 85), corridor_mm=12, midline_x_mm=90)


def sound_hold(rate_hz: float = RATE_HZ) -> Trial:
    """Contact 0 holds, contact 1 follows a bridge."""
    guide = hold_guide()
    t_s, share = uneven(8.0, rate_hz)
    held = np.array([20.0, 70.0]) + 0.5 * np.column_stack([np.sin(t_s), np.cos(t_s)])
    return hands(
        guide, [held, beside(guide, 0.999 * share * guide.length_mm, 1.0 + 0 * t_s)], [t_s, t_s]
    )


def circles(laps: tuple[float, float]) -> Trial:
    """Two circles, each drawn at an even pace and exactly on the line."""
    centres = (np.array([50.0, 50.0]), np.array([150.0, 50.0]))
    angle = np.linspace(0, 2 * np.pi, 241)[:-1]
    ring = 30.0 * np.column_stack([np.cos(angle), np.sin(angle)])
    guide = Guide([Part(ring + centre, True, np.array(12.0)) for centre in centres])
    steps = np.arange(6 * 240 + 1)
    places = [
        part_of(guide, number).point_at(steps / 1440 * count * part_of(guide, number).length_mm)
        for number, count in enumerate(laps)
    ]
    return hands(guide, places, [steps / RATE_HZ, steps / RATE_HZ])


def drawn_to(last: tuple[float, float]) -> Trial:
    """Shares of the two waves."""
    return together_on(mirrored_waves(), last=last)


def two_cycles() -> Trial:
    """Half of four cycles each."""
    return drawn_to((0.5, 0.5))


def unlike_hands() -> Trial:
    """Straight lines at paces that swing three times and seven times."""
    guide, t_s = straight_pair(), np.arange(961) / RATE_HZ
    u = t_s / t_s[-1]
    places = []
    for number, swings in enumerate((3, 7)):
        share = u - np.sin(2 * np.pi * swings * u) / (2 * np.pi * swings) * 0.8
        one = part_of(guide, number)
        places.append(one.point_at(0.999 * share * one.length_mm))
    return hands(guide, places, [t_s, t_s])


def straight_pair() -> Guide:
    lines = [np.array([[x, 10.0], [x, 170.0]]) for x in (60.0, 120.0)]
    return Guide([Part(one, False, np.array(12.0)) for one in lines], midline_x_mm=90.0)


def three_parts() -> Guide:
    return Guide(
        [*straight_pair().parts, Part(np.array([[90.0, 10.0], [90.0, 170.0]]), False, 12.0)]
    )
