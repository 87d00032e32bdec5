"""The kinds of attempts that are kept, and how each is read, scored and told.

The only place that tells them apart. What computes takes a second to load, so each kind
loads its own when it is first needed.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from server.documents import read_trial

if TYPE_CHECKING:
    from server.cuts import CutDocument
    from server.documents import TrialDocument
    from server.entries import EntryDocument

    Document = TrialDocument | CutDocument | EntryDocument


@dataclass(frozen=True)
class Kind:
    """One kind of attempt.

    Attributes
    ----------
    name : str
        As the table of attempts has it.
    id_key : str
        Key of the document's own id.
    from_tablet : bool
        Whether a tablet drew it: then there is a guide with a midline, samples, a picture.
    read : callable
        From the exact bytes to a document, or `BadDocument`.
    score : callable
        From a document to its report; never an error.
    facts : callable
        From document, report and the hand used as amended to what lists and series need.
    """

    name: str
    id_key: str
    from_tablet: bool
    read: Callable[[bytes], "Document"]
    score: Callable[[Any], dict[str, Any]]
    facts: Callable[[Any, Mapping[str, Any], str | None], dict[str, Any]]

    def id_of(self, document: "Document") -> str:
        """Return the id that a document carries."""
        found: str = getattr(document, self.id_key)
        return found


def _score_trial(document: Any) -> dict[str, Any]:
    from server.scoring import score

    return score(document)


def _trial_facts(document: Any, report: Mapping[str, Any], hand_used: str | None) -> dict[str, Any]:
    from server.facts import facts_of

    return facts_of(document, report, hand_used)


def _read_cut(raw: bytes) -> "CutDocument":
    from server.cuts import read_cut

    return read_cut(raw)


def _score_cut(document: Any) -> dict[str, Any]:
    from server.scoring import score_cut

    return score_cut(document)


def _cut_facts(document: Any, report: Mapping[str, Any], hand_used: str | None) -> dict[str, Any]:
    from server.paper_facts import cut_facts

    return cut_facts(document, report, hand_used)


def _read_entry(raw: bytes) -> "EntryDocument":
    from server.entries import read_entry

    return read_entry(raw)


def _score_entry(document: Any) -> dict[str, Any]:
    from server.entries import report_entry

    return report_entry(document)


def _entry_facts(document: Any, report: Mapping[str, Any], hand_used: str | None) -> dict[str, Any]:
    from server.paper_facts import entry_facts

    return entry_facts(document, report, hand_used)


TRIAL = Kind("trial", "trial_id", True, read_trial, _score_trial, _trial_facts)
CUT = Kind("cut", "cut_id", False, _read_cut, _score_cut, _cut_facts)
ENTRY = Kind("entry", "entry_id", False, _read_entry, _score_entry, _entry_facts)

KINDS: Mapping[str, Kind] = {kind.name: kind for kind in (TRIAL, CUT, ENTRY)}
