"""Where the invented scenario lies, and what stands in it.

A source checkout has it in ``fixtures/demo``; an installed Linnet in ``server/scenario``.
"""

import lzma
from dataclasses import dataclass
from importlib import resources
from importlib.resources.abc import Traversable
from typing import Any

import orjson


@dataclass(frozen=True)
class DemoAccount:
    """One sign-in of the demo."""

    role: str
    name: str
    passphrase: str


@dataclass(frozen=True)
class DemoAccounts:
    """The demo's sign-ins.

    Parameters
    ----------
    accounts : tuple of DemoAccount
        Supervisor, assistant, researcher, owner.
    tablet_name : str
        Name of the account whose tablet has something to draw today.
    """

    accounts: tuple[DemoAccount, ...]
    tablet_name: str


def _folder() -> Traversable:
    server = resources.files("server")
    for folder in (server / "scenario", server / ".." / "fixtures" / "demo"):
        if (folder / "scenario.json").is_file():
            return folder
    raise FileNotFoundError(
        "the demo's scenario.json is neither in server/scenario nor in fixtures/demo"
    )


def read_scenario() -> dict[str, Any]:
    """Return accounts, children, sessions and marks as the scenario file has them."""
    scenario: dict[str, Any] = orjson.loads((_folder() / "scenario.json").read_bytes())
    return scenario


def read_trials() -> dict[str, dict[str, Any]]:
    """Return the scenario's trial documents by trial id."""
    lines = lzma.decompress((_folder() / "trials.jsonl.xz").read_bytes()).splitlines()
    documents = [orjson.loads(line) for line in lines]
    return {document["trial_id"]: document for document in documents}


def accounts_of(scenario: dict[str, Any]) -> DemoAccounts:
    """Return the sign-ins of a scenario."""
    carers = {child["code"]: child["carer"] for child in scenario["children"]}
    return DemoAccounts(
        accounts=tuple(
            DemoAccount(role=one["roles"][0], name=one["name"], passphrase=one["passphrase"])
            for one in scenario["accounts"]
        ),
        tablet_name=carers[scenario["today"]["child"]],
    )
