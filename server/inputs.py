"""What `linnet score` reads: trials, cuts, entries and ink, told apart by what stands in them."""

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from server.documents import TrialDocument, read_trial
from server.faults import BadDocument, Fault
from server.guides import GuideFields, guide_of
from server.strict_json import MAX_DOCUMENT_BYTES, TOO_LARGE, read_json
from server.validation import names_of, validated

if TYPE_CHECKING:
    from server.cuts import CutDocument
    from server.entries import EntryDocument
    from server.inkml import InkDocument

    Input = TrialDocument | InkDocument | CutDocument | EntryDocument

NO_LINE_NO_DOTS = "A guide needs a line (points_mm or parts) or dots (targets_mm)."

# What may stand before the first element: byte order marks, spaces, the null bytes of UTF-16.
_BEFORE = b"\xef\xbb\xbf\xff\xfe\x00 \t\r\n"
_OTHERS = (b"linnet-cut/", b"linnet-entry/")


def is_xml(raw: bytes) -> bool:
    """Whether a document begins as XML does; JSON never does.

    Examples
    --------
    >>> is_xml(b" <ink/>"), is_xml(b'{"format": "linnet-trial/1"}')
    (True, False)
    """
    return raw[:1024].lstrip(_BEFORE).startswith(b"<")


def read_input(raw: bytes) -> "Input":
    """Read a document of any kind that can be scored.

    Parameters
    ----------
    raw : bytes
        ``linnet-trial/1``, ``linnet-cut/1``, ``linnet-entry/1`` or InkML, exactly as received.

    Returns
    -------
    TrialDocument, CutDocument, EntryDocument or InkDocument
        What it is. JSON that is no cut and no entry is read as a trial.

    Raises
    ------
    BadDocument
        With status 413 if it is too large, else 422, and all faults that were found.
    """
    if is_xml(raw):
        from server.inkml import read_ink

        return read_ink(raw)
    # The words may also stand in a trial's unknown key, so they only say what to look for.
    if len(raw) > MAX_DOCUMENT_BYTES or not any(word in raw for word in _OTHERS):
        return read_trial(raw)
    from server.cuts import cut_names, cut_of
    from server.documents import trial_names, trial_of
    from server.entries import entry_names, entry_of

    tree = read_json(raw, cut_names() | entry_names() | trial_names())
    said = str(tree.get("format", "")) if isinstance(tree, dict) else ""
    readers = {"linnet-cut": cut_of, "linnet-entry": entry_of}
    read: Callable[[Any], Input] = readers.get(said.partition("/")[0], trial_of)
    return read(tree)


def read_guide(raw: bytes) -> GuideFields:
    """Read a guide that takes the place of a document's own (the object of a trial).

    Raises
    ------
    BadDocument
        If it cannot be a guide; a guide without any points cannot.
    """
    if len(raw) > MAX_DOCUMENT_BYTES:
        raise BadDocument([Fault("", TOO_LARGE)], status=413)
    known = names_of(GuideFields)
    fields: GuideFields = validated(GuideFields, read_json(raw, known), known)
    if guide_of(fields, path="") is None:
        raise BadDocument([Fault("", NO_LINE_NO_DOTS)])
    return fields


def score_input(document: "Input") -> dict[str, Any]:
    """Return the report of a document that `read_input` has read."""
    from server.attempts import CUT, ENTRY, TRIAL

    kinds = {"linnet-cut/1": CUT, "linnet-entry/1": ENTRY}
    return kinds.get(document.format, TRIAL).score(document)
