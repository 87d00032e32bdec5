"""Which pass-phrases may be chosen, and that their form on the keyboard does not matter."""

import time

import pytest
from argon2 import PasswordHasher, Type

from server.auth import is_outdated, passphrase_fits, passphrase_hash
from server.passphrases import COMMON, EXPECTED, TOO_LONG, TOO_SHORT, normalised, weakness
from server.tables import Account
from tests.accounts import NEW_PASSPHRASE, rows, sign_in, wide
from tests.practice import PASSPHRASE, Practice


@pytest.mark.parametrize(
    "passphrase",
    [
        PASSPHRASE,
        NEW_PASSPHRASE,
        "rope kite tar 7",  # [C] 15 characters
        "zoutmeer größer façade",
        "ферри канат маяк",
        "ferry: over the bar at noon",
        "rope kite gravel seven " + "x" * 233,  # [C] 256 characters
    ],
)
def test_long_unusual_pass_phrases_are_taken(passphrase: str) -> None:
    assert weakness(passphrase, "ferry") is None


@pytest.mark.parametrize(
    ("passphrase", "why"),
    [
        ("", TOO_SHORT),
        ("rope kite tar7", TOO_SHORT),  # [C] 14 characters
        # [C] 15 code points as typed, 14 once e and its accent are one.
        ("rope kite tare\u0301", TOO_SHORT),
        ("rope kite gravel seven " + "x" * 234, TOO_LONG),  # [C] 257 characters
        ("ferry ferry ferry", EXPECTED),
        ("Ferry-FERRY-7-ferry", EXPECTED),
        ("linnet linnet 2026", EXPECTED),
        (wide("linnetlinnet1234"), EXPECTED),
        ("aaaaaaaaaaaaaaaa", COMMON),
        (" " * 20, COMMON),
        ("passwordpassword", COMMON),
        ("password1234567", COMMON),
        ("123456789012345", COMMON),
        ("qwertyuiopasdfgh", COMMON),
        ("😀" * 20, COMMON),
    ],
)
def test_short_long_expected_and_common_ones_are_refused_with_a_reason(
    passphrase: str, why: str
) -> None:
    assert weakness(passphrase, "ferry") == why
    assert why.endswith(".")


def test_scoring_takes_a_bounded_time() -> None:
    """A text of leetspeak at full length takes zxcvbn two seconds or more."""
    text = ("4@8({[<3&69!1|0$5+7%2" * 20)[:256]
    began_s = time.perf_counter()
    weakness(text, "ferry")
    assert time.perf_counter() - began_s < 1.5


def test_composed_and_decomposed_letters_are_the_same_pass_phrase() -> None:
    composed, decomposed = "fa\u00e7ade rope kite", "fac\u0327ade rope kite"
    assert composed != decomposed
    account = Account(name="x", passphrase_hash=passphrase_hash(composed))
    assert passphrase_fits(account, decomposed)
    assert not passphrase_fits(account, "facade rope kite")


def test_plain_letters_are_hashed_as_they_are() -> None:
    assert normalised(PASSPHRASE) == PASSPHRASE
    old = Account(name="x", passphrase_hash=PasswordHasher().hash(PASSPHRASE))
    assert passphrase_fits(old, PASSPHRASE)


def test_the_rules_do_not_hold_for_signing_in(practice: Practice) -> None:
    short = PasswordHasher().hash("short")
    rows(practice, "UPDATE account SET passphrase_hash = ? WHERE name = 'ferry'", short)
    assert sign_in(practice, "ferry", "short").status_code == 200


def test_a_hash_of_older_parameters_is_renewed_when_somebody_signs_in(
    practice: Practice,
) -> None:
    old = PasswordHasher(time_cost=2, memory_cost=128, parallelism=1).hash(PASSPHRASE)
    rows(practice, "UPDATE account SET passphrase_hash = ? WHERE name = 'ferry'", old)
    query = "SELECT passphrase_hash FROM account WHERE name = 'ferry'"
    assert is_outdated(old)
    assert sign_in(practice, "ferry", "a wrong pass-phrase").status_code == 401
    assert rows(practice, query) == [(old,)]
    assert sign_in(practice, "ferry").status_code == 200
    ((new,),) = rows(practice, query)
    assert new.startswith("$argon2id$")
    assert not is_outdated(new)
    assert sign_in(practice, "ferry").status_code == 200
    assert rows(practice, query) == [(new,)]


def test_a_server_hashes_as_the_standard_asks(production_hasher: PasswordHasher) -> None:
    # [P] RFC 9106 section 4, the second recommended option: t = 3, m = 64 MiB, p = 4
    assert production_hasher.type is Type.ID
    assert production_hasher.time_cost == 3
    assert production_hasher.memory_cost == 64 * 1024
    assert production_hasher.parallelism == 4
