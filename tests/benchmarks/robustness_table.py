"""How the figures of `tests.benchmarks.robustness` are printed."""

from collections.abc import Iterator, Mapping
from typing import Any

Summary = Mapping[str, Mapping[str, Any]]


def _number(x: float) -> str:
    return "." if x == 0 else f"{x:.3g}"


def _row(name: str, cells: list[str]) -> str:
    return f"{name:<34}" + "".join(f"{cell:>10}" for cell in cells)


def _heads(conditions: list[str]) -> Iterator[str]:
    for number, condition in enumerate(conditions, start=1):
        yield f"  ({number}) {condition}"


def _cells(one: Mapping[str, Any], conditions: list[str], field: str) -> list[str]:
    effects = one["effects"]
    return [_number(effects[c][field]) if c in effects else "-" for c in conditions]


def show(title: str, found: Summary) -> None:
    """Print bias, spread, share refused and the range of every measure."""
    if not found:
        return
    conditions = list(next(iter(found.values()))["effects"])
    print(f"\n{title}\n" + "\n".join(_heads(conditions)))
    numbers = [f"({number})" for number in range(1, len(conditions) + 1)]
    for field in ("bias", "spread", "refused_share"):
        print("\n" + _row(field, numbers))
        for name, one in found.items():
            cells = _cells(one, conditions, field)
            if field != "refused_share" or any(cell not in {".", "-"} for cell in cells):
                print(_row(name, cells))
    heads = ["5th", "95th", "least", "greatest", "over", "60-240 %", "changed %", "flag"]
    print("\n" + _row("range", heads))
    for name, one in found.items():
        over = one["range"]
        if over is None:
            continue
        ends = [_number(over[end]) for end in ("p05", "p95", "least", "greatest")]
        judged = [f"{100 * one[x]:.1f}" for x in ("spread_share", "changed_share") if x in one]
        flag = f"FLAG  {one['kept_because']}" if one.get("flagged") else ""
        print(_row(name, [*ends, over["over"], *judged]) + f"  {flag}")
