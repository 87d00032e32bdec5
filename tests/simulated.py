"""Simulated attempts: one continuous movement each, sampled as different tablets would.

The movement is that of `fixtures.movement`: a pen with overlapping submovements, pauses,
lifts, rounded corners and a slow wander. Number k is the same movement every time.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from analysis import shapes
from analysis.guide import Guide, Part, Target
from analysis.trace import FloatArray, Trace
from analysis.trial import Condition, Device, Mode, Trial
from fixtures.attempts import Habits, begun_again, whole, wrong_way
from fixtures.movement import Leg, PenStroke, Plan, Style, pen_strokes

SEED = 20_260_306
MIDDLE_MM = np.array([108.0, 72.0])
WIDTH_MM = 12.0
Rng = np.random.Generator


@dataclass(frozen=True)
class Contact:
    """One contact of a pen or finger: its times [s] and its place at any of them [mm]."""

    begin_s: float
    end_s: float
    position: Callable[[FloatArray], FloatArray]
    pointer: int = 0


@dataclass(frozen=True, eq=False)
class Attempt:
    """One movement from begin to end, before any tablet has seen it."""

    number: int
    kind: str
    mode: Mode
    guide: Guide
    contacts: tuple[Contact, ...]
    hand: str

    def pressure(self, t_s: FloatArray, contact: Contact) -> FloatArray:
        """Share of the pen's range at given times of a contact. [1]"""
        rng = np.random.default_rng([SEED, self.number, 1])
        size, phase = rng.uniform(0.02, 0.06, 3), rng.uniform(0.0, 2.0 * np.pi, 3)
        waves = size * np.sin(2.0 * np.pi * t_s[:, None] * (0.13, 0.31, 0.7) + phase)
        landing = np.clip((t_s - contact.begin_s) / 0.08, 0.15, 1.0)
        leaving = np.clip((contact.end_s - t_s) / 0.05, 0.2, 1.0)
        drift = rng.uniform(-0.01, 0.01) * (t_s - self.contacts[0].begin_s)
        usual = rng.uniform(0.25, 0.6)
        return np.clip((usual + drift + waves.sum(axis=1)) * landing * leaving, 0.02, 0.98)


def _style(rng: Rng) -> Style:
    return Style(
        speed_mm_s=float(np.exp(rng.uniform(np.log(20.0), np.log(90.0)))),
        wander_mm=rng.uniform(0.8, 3.0),
        bias_mm=rng.normal(0.0, 0.8),
        corner_mm=rng.uniform(5.0, 9.0),
        submovement_mm=rng.uniform(12.0, 35.0),
        overlap=rng.uniform(0.3, 0.55),
        start_dwell_s=rng.uniform(0.1, 0.6),
        initiation_s=rng.uniform(0.6, 2.0),
    )


_EVENTFUL = Habits(pauses=0.8, lifts=0.5, departures=0.4, midline_lift=0.2, midline_pause=0.2)
_CALM = Habits(pauses=0.0, lifts=0.0, departures=0.0)


def _placed(points_mm: FloatArray, *, closed: bool = False) -> Guide:
    middle = 0.5 * (points_mm.min(axis=0) + points_mm.max(axis=0))
    part = Part(points_mm - middle + MIDDLE_MM, closed, np.array(WIDTH_MM))
    return Guide((part,), 5.0, 5.0, float(MIDDLE_MM[0]), "entered")


TRACED: dict[str, Guide] = {
    "bridge": _placed(shapes.half_ellipse(180.0, 85.0)),
    "square": _placed(shapes.square(70.0), closed=True),
    "circle": _placed(shapes.circle(40.0), closed=True),
    "zigzag": _placed(shapes.zigzag(22.5, 35.0, 8)),
    "eight": _placed(shapes.figure_eight(150.0, 56.0), closed=True),
    "line": _placed(shapes.line(180.0)),
}


def _contacts(strokes: list[PenStroke], pointer: int = 0) -> tuple[Contact, ...]:
    return tuple(Contact(one.begin_s, one.end_s, one.xy_mm, pointer) for one in strokes)


def _drawn(
    guide: Guide, plan: Plan, style: Style, rng: Rng, pointer: int = 0
) -> tuple[Contact, ...]:
    part = guide.parts[0]
    strokes = pen_strokes(part.points_mm, closed=part.closed, plan=plan, style=style, rng=rng)
    return _contacts(strokes, pointer)


def _traced(kind: str, rng: Rng) -> tuple[Guide, tuple[Contact, ...]]:
    guide, style, chance = TRACED[kind], _style(rng), rng.uniform()
    if chance < 0.05:
        plan = wrong_way(guide, _EVENTFUL, rng)
    elif chance < 0.1:
        plan = begun_again(guide, _EVENTFUL, rng)
    else:
        plan = whole(guide, _EVENTFUL, rng, share=1.0 if chance > 0.15 else rng.uniform(0.4, 0.9))
    return guide, _drawn(guide, plan, style, rng)


def _cut(rng: Rng) -> tuple[Guide, tuple[Contact, ...]]:
    """Short runs forward with rests, sometimes a little back, sometimes a lift."""
    guide = TRACED[("line", "circle")[rng.integers(2)]]
    at_mm, legs, strokes, in_air_s = 0.0, [], [], []
    while at_mm < guide.length_mm:
        to_mm = min(at_mm + rng.uniform(15.0, 35.0), guide.length_mm + 0.5)
        legs.append(Leg(at_mm, to_mm, rng.uniform(0.3, 0.7)))
        at_mm, chance = to_mm, rng.uniform()
        if chance < 0.2 and at_mm < guide.length_mm - 10.0:
            legs.append(Leg(at_mm, at_mm - rng.uniform(3.0, 6.0)))
            at_mm = legs[-1].to_mm
        elif chance < 0.4 and at_mm < guide.length_mm - 10.0:
            strokes.append(tuple(legs))
            in_air_s.append(rng.uniform(0.4, 0.9))
            legs = []
    plan = Plan((*strokes, tuple(legs)), tuple(in_air_s))
    return guide, _drawn(guide, plan, _style(rng), rng)


def _tapped(rng: Rng) -> tuple[Guide, tuple[Contact, ...]]:
    """Fourteen taps to and fro over two targets, or once over dots in two rows."""
    rows = [[x, y] for y in (52.0, 92.0) for x in np.arange(32.0, 185.0, 38.0)]
    fro = [[x, 72.0] for x in (70.0, 146.0)] * 7
    centres_mm = np.array((rows, fro)[rng.integers(2)])
    spread_mm, now_s, contacts = rng.uniform(1.0, 4.0), rng.uniform(0.6, 1.5), []
    for centre_mm in centres_mm:
        aim_mm = centre_mm + rng.normal(0.0, spread_mm, 2)
        slide_mm_s = rng.normal(0.0, 4.0, 2)
        lasts_s = rng.uniform(0.07, 0.2)

        def position(
            t_s: FloatArray,
            aim_mm: FloatArray = aim_mm,
            slide_mm_s: FloatArray = slide_mm_s,
            from_s: float = now_s,
        ) -> FloatArray:
            return np.asarray(aim_mm + (t_s - from_s)[:, None] * slide_mm_s)

        contacts.append(Contact(now_s, now_s + lasts_s, position))
        now_s += lasts_s + rng.uniform(0.4, 0.9)
    return _dotted(centres_mm, 7.0), tuple(contacts)


def _dotted(centres_mm: FloatArray, radius_mm: float) -> Guide:
    places = enumerate(centres_mm.tolist())
    targets = tuple(Target(x, y, radius_mm, order) for order, (x, y) in places)
    return Guide(midline_x_mm=float(MIDDLE_MM[0]), midline_source="entered", targets=targets)


def _joined(rng: Rng) -> tuple[Guide, tuple[Contact, ...]]:
    side = (-1.0) ** np.arange(7)
    centres_mm = np.column_stack([MIDDLE_MM[0] - 30.0 * side, 12.0 + 20.0 * np.arange(7)])
    drawn_mm = centres_mm + rng.normal(0.0, 2.5, centres_mm.shape)
    line = Guide.from_points(drawn_mm, corridor_mm=WIDTH_MM)
    contacts = _drawn(line, whole(line, _EVENTFUL, rng), _style(rng), rng)
    return _dotted(centres_mm, 6.0), contacts


def _both(variant: int, rng: Rng) -> tuple[Guide, tuple[Contact, ...]]:
    """Two lines, two lines of waves, or one hand that holds while the other goes round."""
    if variant == 2:
        guide = _placed(shapes.circle(30.0), closed=True)
        held = Target(40.0, 72.0, 15.0, 0)
        drawn = _drawn(guide, whole(guide, _CALM, rng), _style(rng), rng, 1)
        away = np.array([held.x_mm, held.y_mm]) + rng.normal(0.0, 2.0, 2)
        drift_mm_s, phase = rng.normal(0.0, 0.5, 2), rng.uniform(0.0, 6.0)

        def position(t_s: FloatArray) -> FloatArray:
            sway = 0.8 * np.sin(2.0 * np.pi * 0.21 * t_s + phase)
            return np.asarray(away + t_s[:, None] * drift_mm_s + sway[:, None])

        hold = Contact(0.5, drawn[-1].end_s + 0.4, position, 0)
        return Guide(guide.parts, 5.0, 5.0, targets=(held,)), (hold, *drawn)
    shape_mm = shapes.line(150.0) if variant == 0 else shapes.sine(150.0, 12.0, 3.5)
    middle_mm = _placed(shape_mm).parts[0].points_mm
    lines = [middle_mm + np.array([0.0, y]) for y in (-35.0, 35.0)]
    style, seed, later_s = _style(rng), int(rng.integers(2**32)), rng.uniform(-0.3, 0.3)
    contacts: list[Contact] = []
    for pointer, line_mm in enumerate(lines):
        # One seed for both: the hands speed up and slow down alike, one a little later.
        guide = Guide.from_points(line_mm, corridor_mm=WIDTH_MM)
        plan = whole(guide, _CALM, np.random.default_rng(seed))
        one = Style(
            speed_mm_s=style.speed_mm_s,
            wander_mm=rng.uniform(0.8, 3.0),
            initiation_s=1.0 + pointer * later_s,
        )
        contacts += _drawn(guide, plan, one, np.random.default_rng([seed, 1]), pointer)
    return Guide([Part(one, False, np.array(WIDTH_MM)) for one in lines]), tuple(contacts)


KINDS = (
    "bridge", "square", "tap", "join", "both", "cut", "circle", "zigzag", "eight", "line",
)  # fmt: skip


def attempt(number: int) -> Attempt:
    """The movement of a number: kinds take turns, all else is chance."""
    rng = np.random.default_rng([SEED, number])
    kind, hand = KINDS[number % len(KINDS)], ("left", "right")[rng.integers(2)]
    if kind in TRACED:
        guide, contacts = _traced(kind, rng)
        return Attempt(number, kind, "trace", guide, contacts, hand)
    makers = {"tap": _tapped, "join": _joined, "cut": _cut}
    if kind == "both":
        guide, contacts = _both(number // len(KINDS) % 3, rng)
    else:
        guide, contacts = makers[kind](rng)
    return Attempt(number, kind, kind, guide, contacts, hand)  # type: ignore[arg-type]


@dataclass(frozen=True)
class Sampling:
    """How a tablet reports: rate [Hz], noise and position step [mm], share of lost reports."""

    rate_hz: float
    noise_mm: float = 0.0
    step_mm: float = 0.01
    lost_share: float = 0.0


JITTER_SHARE = 0.15
"""Largest shift of a report, as a share of the interval between reports. [1]"""


def sampled(made: Attempt, how: Sampling) -> Trial:
    """The trial that a tablet would report of a movement."""
    rng = np.random.default_rng([SEED, made.number, 2, round(how.rate_hz)])
    columns: list[FloatArray] = []
    for stroke, contact in enumerate(made.contacts):
        step_s = 1.0 / how.rate_hz
        t_s = np.arange(contact.begin_s + rng.uniform(0.0, step_s), contact.end_s, step_s)
        t_s = t_s + step_s * rng.uniform(-JITTER_SHARE, JITTER_SHARE, t_s.size)
        noise_mm = how.noise_mm * rng.standard_normal((t_s.size, 2))
        kept = rng.uniform(size=t_s.size) >= how.lost_share
        kept[0] = True
        xy_mm = (contact.position(t_s) + noise_mm)[kept]
        pressure = made.pressure(t_s, contact)[kept]
        # The report of the pen going up comes last, where the pen was.
        t_s = np.append(t_s[kept], t_s[-1] + 0.7 * step_s)
        xy_mm, pressure = np.vstack([xy_mm, xy_mm[-1:]]), np.append(pressure, np.nan)
        same = np.full((t_s.size, 2), [stroke, contact.pointer])
        columns.append(np.column_stack([np.round(t_s, 4), xy_mm, np.round(pressure, 3), same]))
    rows = np.vstack(columns)
    rows = rows[np.argsort(rows[:, 0], kind="stable")]
    trace = Trace(
        xy_mm=np.round(rows[:, 1:3] / how.step_mm) * how.step_mm,
        t_s=rows[:, 0],
        stroke=rows[:, 4].astype(np.int64),
        pressure=rows[:, 3],
        pointer=rows[:, 5].astype(np.int64),
    )
    return Trial(
        trial_id=f"00000000-0000-4000-8000-{made.number:012d}",
        mode=made.mode,
        trace=trace,
        guide=made.guide,
        condition=Condition(hand=made.hand if made.mode != "both" else "both"),
        device=Device("pen", calibrated=True, coalesced=True, secure_context=True),
        cue_s=0.0,
        pressure_band=(0.3, 0.55),
    )
