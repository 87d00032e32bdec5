"""A form of a session's page that was refused: what was typed, and what is wrong with it."""

from collections.abc import Mapping
from typing import Any, NamedTuple


class Refused(NamedTuple):
    """A form that was refused.

    Attributes
    ----------
    form : str
        Which one.
    typed : mapping
        What was typed in it.
    troubles : mapping
        A sentence by field; that of the whole form under the empty name.
    """

    form: str
    typed: Mapping[str, Any]
    troubles: Mapping[str, str]

    def typed_in(self, form: str) -> Mapping[str, Any]:
        """Return what was typed in a form; nothing if another one was refused."""
        return self.typed if self.form == form else {}

    def trouble(self, form: str, field: str = "") -> str | None:
        """Return the sentence beside a field, or that of the form; None if all is well."""
        return self.troubles.get(field) if self.form == form else None


NOTHING_REFUSED = Refused("", {}, {})
