"""What `linnet score` reads: trials, cuts and ink, told apart by what stands in them."""

from typing import TYPE_CHECKING, Any

from server.documents import MAX_DOCUMENT_BYTES, TOO_LARGE, TrialDocument, read_trial
from server.faults import BadDocument, Fault
from server.guides import GuideFields, guide_of
from server.strict_json import read_json
from server.validation import names_of, validated

if TYPE_CHECKING:
    from server.cuts import CutDocument
    from server.inkml import InkDocument

    Input = TrialDocument | InkDocument | CutDocument

NO_LINE_NO_DOTS = "A guide needs a line (points_mm or parts) or dots (targets_mm)."

# What may stand before the first element: byte order marks, spaces, the null bytes of UTF-16.
_BEFORE = b"\xef\xbb\xbf\xff\xfe\x00 \t\r\n"
_CUT = b"linnet-cut/"


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
        ``linnet-trial/1``, ``linnet-cut/1`` or InkML, exactly as received.

    Returns
    -------
    TrialDocument, CutDocument or InkDocument
        What it is. JSON that is no cut is read as a trial.

    Raises
    ------
    BadDocument
        With status 413 if it is too large, else 422, and all faults that were found.
    """
    if is_xml(raw):
        from server.inkml import read_ink

        return read_ink(raw)
    # The word may also stand in a trial's unknown key, so it only says what to look for.
    if _CUT not in raw or len(raw) > MAX_DOCUMENT_BYTES:
        return read_trial(raw)
    from server.cuts import cut_names, cut_of
    from server.documents import trial_names, trial_of

    tree = read_json(raw, cut_names() | trial_names())
    of_a_cut = isinstance(tree, dict) and str(tree.get("format", "")).startswith(_CUT.decode())
    return cut_of(tree) if of_a_cut else trial_of(tree)


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
    from server.scoring import score, score_cut

    return score_cut(document) if document.format == "linnet-cut/1" else score(document)
