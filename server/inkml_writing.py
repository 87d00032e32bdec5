"""Samples as ink in the W3C Ink Markup Language, so that other programs can read them."""

from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import NamedTuple
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from server.documents import SampleFields, TrialDocument

NAMESPACE = "http://www.w3.org/2003/InkML"
NOT_REPORTED = "?"


class _Channel(NamedTuple):
    """One column: its name in ink, the column of the samples, what the ink says of it."""

    name: str
    column: str
    said: dict[str, str]


# Names that the Recommendation defines; F is the force at the tip, OTx and OTy tilts.
CHANNELS = (
    _Channel("X", "x_mm", {"type": "decimal"}),
    _Channel("Y", "y_mm", {"type": "decimal"}),
    _Channel("T", "t_ms", {"type": "decimal", "units": "ms"}),
    _Channel("F", "pressure", {"type": "decimal", "min": "0", "max": "1"}),
    _Channel("OTx", "tilt_x", {"type": "decimal", "units": "deg"}),
    _Channel("OTy", "tilt_y", {"type": "decimal", "units": "deg"}),
)


def ink_of(document: TrialDocument) -> bytes:
    """Return the samples of a trial as InkML.

    Parameters
    ----------
    document : TrialDocument
        A trial as the tablet sent it.

    Returns
    -------
    bytes
        UTF-8. One trace a stroke, times from the first sight of the guide [ms], places in
        mm with y down; without a unit if the tablet was not calibrated. Two contacts at
        once are two groups of traces, each in the order of its own samples. Nothing in it
        tells who drew or when.

    Examples
    --------
    >>> from server.documents import SampleFields
    >>> samples = SampleFields(t_ms=[0.0, 4.0], x_mm=[1.0, 2.5], y_mm=[3.0, 3.0], stroke=[0, 0])
    >>> _points(_channels(samples), samples, [0, 1])
    '1.0 3.0 0.0, 2.5 3.0 4.0'
    """
    samples = document.samples
    channels = _channels(samples)
    root = Element("ink", {"xmlns": NAMESPACE})
    layout = SubElement(SubElement(root, "context", {"xml:id": "tablet"}), "traceFormat")
    for channel in channels:
        said = dict(channel.said)
        if channel.name in ("X", "Y") and document.device.calibrated:
            said["units"] = "mm"
        SubElement(layout, "channel", {"name": channel.name} | said)
    for number, contact in enumerate(_contacts(samples)):
        group = SubElement(root, "traceGroup", {"xml:id": f"contact{number}"})
        for stroke in _strokes(samples, contact):
            SubElement(group, "trace").text = _points(channels, samples, stroke)
    indent(root)
    ink: bytes = tostring(root, encoding="UTF-8", xml_declaration=True)
    return ink


def _channels(samples: SampleFields) -> list[_Channel]:
    return [one for one in CHANNELS if getattr(samples, one.column) is not None]


def _contacts(samples: SampleFields) -> Iterator[list[int]]:
    """Yield the numbers of the samples of each contact."""
    pointer = samples.pointer or [0] * len(samples.t_ms)
    for contact in sorted(set(pointer)):
        yield [at for at, one in enumerate(pointer) if one == contact]


def _strokes(samples: SampleFields, contact: Sequence[int]) -> Iterator[list[int]]:
    for _, stroke in groupby(contact, key=lambda at: samples.stroke[at]):
        yield list(stroke)


def _points(channels: Sequence[_Channel], samples: SampleFields, stroke: Sequence[int]) -> str:
    columns = [getattr(samples, channel.column) for channel in channels]
    return ", ".join(" ".join(_text(column[at]) for column in columns) for at in stroke)


def _text(value: float | None) -> str:
    # The shortest text that is read back as the same number.
    return NOT_REPORTED if value is None else repr(value)
