"""What somebody gets whose sign-in has ended: the way back, and what was typed once more."""

from fastapi import Request, Response
from starlette.responses import RedirectResponse

from server.routes_pages import LOST, page
from server.typed_texts import typed_texts
from server.way_back import sign_in_address, way_back


async def signed_out_answer(request: Request) -> Response:
    """Return the way to the sign-in, which leads back; or first a page with what was typed.

    Parameters
    ----------
    request : Request
        One that was refused because nobody is signed in.

    Returns
    -------
    Response
        303, to a sign-in that says of a form that nothing was stored; or 401 with what was
        typed, shown once more and not stored.
    """
    typed, sign_in = await typed_texts(request), sign_in_address(way_back(request))
    if typed:
        return page("signed-out.html", None, "/", 401, typed=typed, sign_in=sign_in)
    if request.method == "POST":
        sign_in += f"{'&' if '?' in sign_in else '?'}{LOST}"
    return RedirectResponse(sign_in, 303)
