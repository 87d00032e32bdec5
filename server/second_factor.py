"""The optional second factor: a code that changes every 30 seconds (TOTP, RFC 6238).

To compare codes the server must know the secret itself, so it stands **readable in the
database**; a hash would not do. Whoever can read the file of the database, or a backup of it,
can make codes. The file is readable by its owner only (mode 0600). The second factor protects
against a pass-phrase that was overheard, not against a stolen database.

The code and its length, period and hash are RFC 6238's usual ones (6 digits, 30 s, SHA-1),
computed by pyotp.
"""

from datetime import datetime
from hmac import compare_digest

import pyotp

ISSUER = "Linnet"
STEP_S = 30
# A phone's clock may be half a minute off, either way.
WINDOW_STEPS = 1


def new_secret() -> str:
    """Return a new secret: 160 random bits in base 32."""
    return pyotp.random_base32()


def address_of(secret: str, name: str) -> str:
    """Return the address that a phone reads from a square code; it holds the secret.

    Parameters
    ----------
    secret : str
        In base 32.
    name : str
        Name of the account, for the list on the phone.
    """
    return pyotp.TOTP(secret).provisioning_uri(name=name, issuer_name=ISSUER)


def step_of(secret: str, code: str, now: datetime, last_step: int | None) -> int | None:
    """Return the time step whose code this is, or None.

    Parameters
    ----------
    secret : str
        In base 32.
    code : str
        As typed; spaces do not matter.
    now : datetime
        Aware.
    last_step : int or None
        The step that was used last: it and those before it count no more.

    Returns
    -------
    int or None
        Number of steps of 30 s since 1970, at most one beside the present one.
    """
    totp = pyotp.TOTP(secret, interval=STEP_S)
    typed = "".join(code.split()).encode()
    present = int(now.timestamp()) // STEP_S
    found = None
    for step in range(present - WINDOW_STEPS, present + WINDOW_STEPS + 1):
        is_unused = last_step is None or step > last_step
        # Every step is compared, so that the time taken tells nothing.
        if compare_digest(totp.generate_otp(step).encode(), typed) and is_unused:
            found = step
    return found
