"""Whatever is sent, the reader either gives an entry or refuses with a place and a sentence."""

from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from server.entries import entry_names, read_entry, report_entry
from server.faults import BadDocument
from tests.documents import as_bytes
from tests.entry_documents import sound_entry

JSON = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(10**25), 10**25)
    | st.floats()
    | st.text(max_size=8)
    | st.sampled_from(["trace", "hits", "largest_stray_mm", "Quillfeather"]),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=8,
)


def places(tree: Any, above: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    found: list[tuple[Any, ...]] = []
    for key, inner in tree.items():
        found.append((*above, key))
        if isinstance(inner, dict):
            found += places(inner, (*above, key))
    return found


def refusal(raw: bytes) -> BadDocument | None:
    try:
        document = read_entry(raw)
    except BadDocument as bad:
        return bad
    report = report_entry(document)
    assert report["measures"] == {}
    assert report["entered"]["counts"] == document.counts
    return None


def reads_or_refuses(raw: bytes) -> None:
    bad = refusal(raw)
    if bad is None:
        return
    assert bad.status in (413, 422)
    assert 1 <= len(bad.faults) <= 20
    for fault in bad.faults:
        steps = fault.path.split("/")[1:]
        assert all(step.isdecimal() or step in entry_names() for step in steps)
        assert "Quillfeather" not in fault.detail


@given(st.binary(max_size=200))
def test_any_bytes_are_read_or_refused(raw: bytes) -> None:
    reads_or_refuses(raw)


@given(st.sampled_from(places(sound_entry())), JSON)
def test_any_value_in_any_place_is_read_or_refused(place: tuple[Any, ...], value: Any) -> None:
    tree = sound_entry()
    inner: Any = tree
    for step in place[:-1]:
        inner = inner[step]
    inner[place[-1]] = value
    reads_or_refuses(as_bytes(tree))


@given(st.integers(0, len(as_bytes(sound_entry()))), st.binary(min_size=1, max_size=6))
def test_any_damage_to_the_bytes_is_read_or_refused(at: int, patch: bytes) -> None:
    raw = as_bytes(sound_entry())
    reads_or_refuses(raw[:at] + patch + raw[at + len(patch) :])
