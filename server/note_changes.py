"""What differs now from the numbers that were signed."""

from collections.abc import Iterator
from typing import Any

Numbers = dict[str, Any]
Change = dict[str, Any]

MARKED = ("outcome", "why", "help")
NOTHING: Numbers = {"value": None, "reason": None}


def changed_since(signed: Numbers, live: Numbers) -> list[Change]:
    """Return what differs between the numbers as signed and as they are now.

    Parameters
    ----------
    signed, live : dict
        ``linnet-numbers/1`` of one session.

    Returns
    -------
    list of dict
        Each with `what`: ``session_changed``, ``trial_added``, ``moved_away``,
        ``amended``, ``voided``, ``used_again``, ``marked_again`` or ``value_changed``,
        each that has values with both: ``signed`` and ``now``.
    """
    before = {trial["trial_id"]: trial for trial in signed["trials"]}
    after = {trial["trial_id"]: trial for trial in live["trials"]}
    changes = list(_session(signed["session"], live["session"]))
    changes += [_change("moved_away", one) for one in before if one not in after]
    for trial_id, trial in after.items():
        if trial_id in before:
            changes += _trial(before[trial_id], trial)
        else:
            changes.append(_change("trial_added", trial_id, late=trial["late"]))
    return changes


def _change(what: str, trial_id: str | None, **more: Any) -> Change:
    return {"what": what, "trial_id": trial_id, **more}


def _session(was: Numbers, now: Numbers) -> Iterator[Change]:
    fields = sorted(name for name in was if was[name] != now.get(name))
    if fields:
        yield _change("session_changed", None, **_both(fields, was, now))


def _both(fields: list[str], was: Numbers, now: Numbers) -> Change:
    return {
        "fields": fields,
        "signed": {name: was[name] for name in fields},
        "now": {name: now.get(name) for name in fields},
    }


def _trial(was: Numbers, now: Numbers) -> Iterator[Change]:
    trial_id = now["trial_id"]
    if was["amendment_no"] != now["amendment_no"]:
        yield _change("amended", trial_id, signed=was["amendment_no"], now=now["amendment_no"])
    if was["voided"] != now["voided"]:
        yield _change("voided" if now["voided"] else "used_again", trial_id)
    if was["mark_id"] != now["mark_id"]:
        fields = [name for name in MARKED if was[name] != now[name]]
        yield _change("marked_again", trial_id, **_both(fields, was, now))
    versions = {
        "signed_version": was["analysis_version"],
        "now_version": now["analysis_version"],
    }
    for name, signed, current in _values(was, now):
        yield _change("value_changed", trial_id, name=name, signed=signed, now=current, **versions)


def _values(was: Numbers, now: Numbers) -> Iterator[tuple[str, Any, Any]]:
    for name in ("hand_used", "travelled", "half_width_mm", "scores", "criterion"):
        if was[name] != now[name]:
            yield name, was[name], now[name]
    for name in sorted(was["measures"].keys() | now["measures"].keys()):
        signed = was["measures"].get(name, NOTHING)
        current = now["measures"].get(name, NOTHING)
        if signed != current:
            yield name, signed, current
