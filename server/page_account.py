"""What the page of one's own account says."""

from typing import Any

from server.deps import THERAPIST_ROLES
from server.page_owner import roles_words
from server.passphrases import LEAST_CHARACTERS
from server.second_factor import address_of
from server.tables import Account

GROUP = 4
ON, BEGUN, OFF = "on", "begun", "off"


def factor_state(account: Account) -> str:
    """Return whether the second factor is ``on``, ``begun`` or ``off``."""
    if account.second_factor_since is not None:
        return ON
    return OFF if account.second_factor is None else BEGUN


def account_words(account: Account) -> dict[str, Any]:
    """Return what the template of one's own account needs."""
    return {
        "roles": roles_words(account.roles),
        "factor": factor_state(account),
        "has_tablets": bool(account.roles & THERAPIST_ROLES),
        "least": LEAST_CHARACTERS,
    }


def secret_words(secret: str) -> str:
    """Return a secret in groups of letters, to be typed.

    Examples
    --------
    >>> secret_words("JBSWY3DPEHPK3PXP")
    'JBSW Y3DP EHPK 3PXP'
    """
    return " ".join(secret[at : at + GROUP] for at in range(0, len(secret), GROUP))


def secret_square(secret: str, name: str) -> str:
    """Return the square code of a secret as a data address, which may stand in a picture."""
    import segno

    made = segno.make(address_of(secret, name), error="m")
    return made.svg_data_uri(scale=4, border=2, dark="#1F2A37")
