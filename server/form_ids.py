"""Ids of forms that come with the address of a page, so that what is sent twice is kept once."""

import re

from server.fields import UUID_PATTERN
from server.tables import random_id


def form_id_of(sent: str | None) -> str:
    """Return the id that a form was given, or a fresh one in the place of what is none."""
    return sent if sent and re.fullmatch(UUID_PATTERN, sent) else random_id()
