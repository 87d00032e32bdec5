"""Which channels the traces of an InkML document have, and in which units (InkML, 3.1 and 4)."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from analysis.trace import BoolArray, FloatArray
from server.faults import BadDocument, Fault
from server.inkml_values import Channel

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

LENGTHS_MM = {
    "m": 1000.0,
    "cm": 10.0,
    "mm": 1.0,
    "in": 25.4,
    "pt": 25.4 / 72.0,
    "pc": 25.4 / 6.0,
}
"""Units of length. [mm]"""
NOMINAL_MM = {"px": 25.4 / 96.0, "dev": 1.0}
"""What stands for one unit where its length is not known; such ink is not calibrated. [mm]"""
TIMES_S = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9}
"""Units of time. [s]"""
DEEPEST_REFERENCE = 16
MAX_CHANNELS = 32
XML_ID = "{http://www.w3.org/XML/1998/namespace}id"

NO_PLACE = "The ink has no channels X and Y."
TOO_MANY = f"A trace may have at most {MAX_CHANNELS} channels."
TWICE = "The ink has a channel twice."
NOT_FOUND = "The ink refers to a context, source or format that it does not hold."
CIRCULAR = "The ink refers to itself in a circle."
MAPPED = "The ink maps its channels X and Y; only channels as they were recorded are read."


def local_name(element: "Element") -> str:
    """Return the name of an element without its namespace."""
    return element.tag.rpartition("}")[2] if isinstance(element.tag, str) else ""


def _reference(element: "Element", name: str) -> str | None:
    """Return the id that a reference inside the document names."""
    found = element.get(name)
    return found.removeprefix("#") if found else None


@dataclass(frozen=True)
class _Axis:
    """How a channel of position becomes millimetres."""

    at: int
    mm: float
    known: bool


@dataclass(frozen=True)
class Format:
    """The channels of a trace, in order, and how they become mm, s and shares.

    Parameters
    ----------
    channels : tuple of Channel
        Regular ones first.
    attributes : tuple of mapping
        What each channel's element says of it.
    resolution_mm : mapping
        Length of one device unit by channel, where the device is described. [mm]
    """

    channels: tuple[Channel, ...] = (Channel("X"), Channel("Y"))
    attributes: tuple[Mapping[str, str], ...] = ({}, {})
    resolution_mm: Mapping[str, float] = field(default_factory=dict)

    def _at(self, name: str) -> int | None:
        names = [channel.name for channel in self.channels]
        return names.index(name) if name in names else None

    def _axis(self, name: str) -> _Axis:
        at = self._at(name)
        if at is None:
            raise BadDocument([Fault("", NO_PLACE)])
        said = self.attributes[at]
        unit = said.get("units", "dev")
        sign = -1.0 if said.get("orientation") == "-ve" else 1.0
        if unit in LENGTHS_MM:
            return _Axis(at, sign * LENGTHS_MM[unit], known=True)
        if unit == "dev" and name in self.resolution_mm:
            return _Axis(at, sign * self.resolution_mm[name], known=True)
        return _Axis(at, sign * NOMINAL_MM.get(unit, 1.0), known=False)

    @property
    def calibrated(self) -> bool:
        """Whether the length of a unit is known in both directions."""
        return self._axis("X").known and self._axis("Y").known

    def xy_mm(self, values: FloatArray) -> FloatArray:
        """Return places, shape (n, 2), y down; points without a place are left out. [mm]"""
        x, y = self._axis("X"), self._axis("Y")
        places: FloatArray = values[self._placed(values)][:, [x.at, y.at]] * np.array([x.mm, y.mm])
        return places

    def _placed(self, values: FloatArray) -> BoolArray:
        x, y = self._axis("X"), self._axis("Y")
        return np.asarray(~np.isnan(values[:, [x.at, y.at]]).any(axis=1))

    def t_s(self, values: FloatArray, offset_ms: str | None) -> FloatArray | None:
        """Return times of the points that have a place; None unless all of them have one. [s]

        Parameters
        ----------
        values : ndarray, shape (points, channels)
            Of one trace.
        offset_ms : str or None
            The trace's ``timeOffset``, added to its times. [ms]
        """
        at = self._at("T")
        unit_s = None if at is None else TIMES_S.get(self.attributes[at].get("units", "ms"))
        if at is None or unit_s is None:
            return None
        t_s: FloatArray = values[self._placed(values)][:, at] * unit_s + _finite(offset_ms) / 1000.0
        return None if np.isnan(t_s).any() else t_s

    def pressure(self, values: FloatArray) -> FloatArray | None:
        """Return the force as a share of its range; None where the ink does not say the range."""
        at = self._at("F")
        if at is None:
            return None
        said = self.attributes[at]
        low, high = _finite(said.get("min")), _finite(said.get("max"))
        force = values[self._placed(values)][:, at]
        if high <= low or (force < low).any() or (force > high).any():
            return None
        share: FloatArray = (force - low) / (high - low)
        return share


def _finite(text: str | None) -> float:
    """Return the number of an attribute; 0 if there is none."""
    try:
        number = float(text or 0.0)
    except ValueError:
        return 0.0
    return number if math.isfinite(number) else 0.0


def formats_of(root: "Element") -> dict[int, Format]:
    """Return the format of every trace, by the identity of its element.

    Parameters
    ----------
    root : Element
        The ink.

    Returns
    -------
    dict of int to Format
        A trace names its context, or a group around it does, or the last context before it
        counts; without any the format is X and Y.

    Raises
    ------
    BadDocument
        If a reference leads nowhere or a format cannot be read.
    """
    return dict(_Reader(root).formats())


class _Reader:
    """Follows references between contexts, sources and formats."""

    def __init__(self, root: "Element") -> None:
        self._root = root
        self._by_id: dict[str, Element] = {}
        for element in root.iter():
            name = element.get(XML_ID) or element.get("id")
            if name:
                self._by_id[name] = element
        self._made: dict[int, Format] = {}

    def formats(self) -> Iterator[tuple[int, Format]]:
        """Yield identity and format of every trace, in the order of the document."""
        current = Format()
        # Elements still to be read, the next one last, each with the context of its group.
        waiting: list[tuple[Element, Format | None]] = [(self._root, None)]
        while waiting:
            element, inherited = waiting.pop()
            kind = local_name(element)
            if kind == "definitions":
                continue
            if kind in ("context", "traceFormat", "inkSource"):
                current = self._format(element) or current
                continue
            named = _reference(element, "contextRef")
            own = self._format(self._found(named)) if named else None
            inner = own or inherited
            if kind == "trace":
                yield id(element), inner or current
                continue
            waiting += [(child, inner) for child in reversed(list(element))]

    def _found(self, name: str) -> "Element":
        if name not in self._by_id:
            raise BadDocument([Fault("", NOT_FOUND)])
        return self._by_id[name]

    def _format(self, element: "Element", depth: int = 0) -> Format | None:
        """Return the format that an element has, holds or refers to; None if it has none."""
        if depth > DEEPEST_REFERENCE:
            raise BadDocument([Fault("", CIRCULAR)])
        if id(element) not in self._made:
            made = self._made_of(element, depth)
            if made is None:
                return None
            self._made[id(element)] = made
        return self._made[id(element)]

    def _made_of(self, element: "Element", depth: int) -> Format | None:
        if local_name(element) == "traceFormat":
            return _format_of(element, {})
        source = element if local_name(element) == "inkSource" else None
        for child in element:
            if local_name(child) == "traceFormat":
                return _format_of(child, _resolutions(source))
            if local_name(child) == "inkSource":
                return self._format(child, depth + 1)
        for name in ("traceFormatRef", "inkSourceRef", "contextRef"):
            named = _reference(element, name)
            if named:
                return self._format(self._found(named), depth + 1)
        return None


def _format_of(element: "Element", resolution_mm: Mapping[str, float]) -> Format:
    regular: list[tuple[Channel, Mapping[str, str]]] = []
    intermittent: list[tuple[Channel, Mapping[str, str]]] = []
    for child in element:
        if local_name(child) == "channel":
            regular.append(_channel(child, intermittent=False))
        elif local_name(child) == "intermittentChannels":
            intermittent += [
                _channel(inner, intermittent=True)
                for inner in child
                if local_name(inner) == "channel"
            ]
    both = [*regular, *intermittent]
    names = [channel.name for channel, _ in both]
    if len(names) > MAX_CHANNELS:
        raise BadDocument([Fault("", TOO_MANY)], status=413)
    if "X" not in names or "Y" not in names:
        raise BadDocument([Fault("", NO_PLACE)])
    if len(set(names)) < len(names):
        raise BadDocument([Fault("", TWICE)])
    return Format(
        tuple(channel for channel, _ in both), tuple(said for _, said in both), resolution_mm
    )


def _channel(element: "Element", *, intermittent: bool) -> tuple[Channel, Mapping[str, str]]:
    name = element.get("name", "")
    mapped = any(
        local_name(child) == "mapping" and child.get("type") != "identity" for child in element
    )
    if mapped and name in ("X", "Y"):
        raise BadDocument([Fault("", MAPPED)])
    return Channel(name, element.get("type") == "boolean", intermittent), dict(element.attrib)


def _resolutions(source: "Element | None") -> dict[str, float]:
    """Return the length of one device unit by channel, where the source says it. [mm]"""
    found: dict[str, float] = {}
    for element in () if source is None else source.iter():
        if local_name(element) != "channelProperty" or element.get("name") != "resolution":
            continue
        a_unit = LENGTHS_MM.get(element.get("units", "").removeprefix("1/"))
        count = _finite(element.get("value"))
        if a_unit is not None and element.get("units", "").startswith("1/") and count > 0:
            found[element.get("channel", "")] = a_unit / count
    return found
