"""Ink that Linnet writes, read again by Linnet's own reader."""

from typing import Any
from xml.etree.ElementTree import fromstring

import numpy as np
import pytest

from server.documents import TrialDocument, read_trial
from server.inkml import read_ink
from server.inkml_writing import NAMESPACE, ink_of
from tests.practice import TELLING, drawn, raw_of


def document(**samples: Any) -> TrialDocument:
    tree = drawn()
    tree["samples"] = {
        "t_ms": [600.0, 604.2, 608.3, 700.0, 704.1],
        "x_mm": [20.1, 20.24, 1e-7, 40.0, -3.5],
        "y_mm": [60.0, 59.81, 59.52, 0.1 + 0.2, 58.0],
        "stroke": [0, 0, 0, 1, 1],
    } | samples
    return read_trial(raw_of(tree))


def test_every_sample_comes_back_as_it_was() -> None:
    sent = document(pressure=[0.31, 0.33, None, 0.1, 1.0], tilt_x=[12, 12.5, None, 3, -4])
    trace = read_ink(ink_of(sent)).trace
    samples = sent.samples
    pairs = zip(samples.x_mm, samples.y_mm, strict=True)
    assert trace.xy_mm.tolist() == [list(one) for one in pairs]
    assert trace.stroke.tolist() == samples.stroke
    force = [None if np.isnan(one) else one for one in trace.pressure]
    assert force == samples.pressure
    # The reader counts seconds from the first sample on.
    since_ms = np.array(samples.t_ms) - samples.t_ms[0]
    np.testing.assert_allclose(1000.0 * trace.t_s, since_ms, atol=1e-9)


def test_a_whole_trial_comes_back_as_it_was() -> None:
    sent = read_trial(raw_of(drawn()))
    trace = read_ink(ink_of(sent)).trace
    assert trace.xy_mm[:, 0].tolist() == sent.samples.x_mm
    assert trace.xy_mm[:, 1].tolist() == sent.samples.y_mm


def test_columns_that_were_not_measured_are_not_written() -> None:
    ink = ink_of(document())
    names = [one.get("name") for one in fromstring(ink).iter(f"{{{NAMESPACE}}}channel")]
    assert names == ["X", "Y", "T"]
    assert read_ink(ink).trace.pressure is None


def test_places_have_a_unit_only_if_the_tablet_was_calibrated() -> None:
    assert read_ink(ink_of(document())).calibrated
    tree = drawn()
    tree["device"]["calibrated"] = False
    again = read_ink(ink_of(read_trial(raw_of(tree))))
    assert not again.calibrated
    assert again.trace.xy_mm[:, 0].tolist() == tree["samples"]["x_mm"]


def test_two_contacts_are_two_groups_each_in_its_own_order() -> None:
    sent = document(stroke=[0, 1, 0, 1, 1], pointer=[0, 1, 0, 1, 1])
    ink = ink_of(sent)
    groups = list(fromstring(ink).iter(f"{{{NAMESPACE}}}traceGroup"))
    assert [len(list(group)) for group in groups] == [1, 1]
    x_mm = sent.samples.x_mm
    first, second = [x_mm[0], x_mm[2]], [x_mm[1], x_mm[3], x_mm[4]]
    assert read_ink(ink).trace.xy_mm[:, 0].tolist() == first + second


def test_a_trial_without_samples_is_ink_without_traces() -> None:
    sent = document(t_ms=[], x_mm=[], y_mm=[], stroke=[])
    assert len(read_ink(ink_of(sent)).trace) == 0


@pytest.mark.parametrize("word", TELLING)
def test_ink_does_not_tell_who_drew_or_when(word: str) -> None:
    sent = read_trial(raw_of(drawn(note=word)))
    ink = ink_of(sent).decode()
    assert word not in ink
    assert sent.trial_id not in ink
