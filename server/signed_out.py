"""What somebody typed whose sign-in had ended meanwhile: shown once more, and not stored."""

from fastapi import Request, Response

from server.routes_pages import page

# A shorter text is typed again sooner than copied.
WORTH_COPYING = 60
FORM = "application/x-www-form-urlencoded"

Texts = list[tuple[str, str]]


async def typed_texts(request: Request) -> Texts:
    """Return the long texts of a form, by the name of their field.

    Parameters
    ----------
    request : Request
        One that was refused because nobody is signed in.

    Returns
    -------
    list of tuple of str
        Empty for what is no form, or has no text of `WORTH_COPYING` characters.
    """
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if request.method != "POST" or kind != FORM:
        return []
    return [
        (name.replace("_", " ").capitalize(), value)
        for name, value in (await request.form()).multi_items()
        if isinstance(value, str) and len(value) >= WORTH_COPYING
    ]


def signed_out_page(typed: Texts) -> Response:
    """Return the page that shows them, with the status 401."""
    return page("signed-out.html", None, "/", 401, typed=typed)
