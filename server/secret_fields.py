"""Kinds of values in requests that must never be shown: pass-phrases, codes, secrets of links."""

from typing import Annotated

from pydantic import AfterValidator, Field, SecretStr
from pydantic_core import PydanticCustomError


def _writable(secret: SecretStr) -> SecretStr:
    # JSON can hold halves of characters, which cannot be hashed. In plain text pydantic
    # refuses them itself.
    try:
        secret.get_secret_value().encode()
    except UnicodeEncodeError:
        raise PydanticCustomError("string_unicode", "not text") from None
    return secret


TypedPassphrase = Annotated[
    SecretStr, Field(min_length=1, max_length=1000), AfterValidator(_writable)
]
TypedCode = Annotated[SecretStr, Field(max_length=20), AfterValidator(_writable)]
LinkSecret = Annotated[SecretStr, Field(min_length=1, max_length=200), AfterValidator(_writable)]
