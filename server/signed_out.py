"""What somebody gets whose sign-in has ended: the way back, and what was typed once more."""

from fastapi import Request, Response
from starlette.responses import RedirectResponse

from server.routes_pages import page
from server.way_back import sign_in_address, way_back

# A shorter text is typed again sooner than copied.
WORTH_COPYING = 60
# What nobody is to read on a page.
SECRETS = frozenset({"passphrase", "old", "new", "code", "secret"})
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
        if isinstance(value, str) and len(value) >= WORTH_COPYING and name not in SECRETS
    ]


async def signed_out_answer(request: Request) -> Response:
    """Return the way to the sign-in, which leads back; or first a page with what was typed.

    Parameters
    ----------
    request : Request
        One that was refused because nobody is signed in.

    Returns
    -------
    Response
        303; or 401 with long texts that were typed, shown once more and not stored.
    """
    typed, sign_in = await typed_texts(request), sign_in_address(way_back(request))
    if not typed:
        return RedirectResponse(sign_in, 303)
    return page("signed-out.html", None, "/", 401, typed=typed, sign_in=sign_in)
