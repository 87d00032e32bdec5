"""What holds for every request and answer: header fields, origin of writes, size of bodies."""

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from server.problems import Problem, respond, wants_page
from server.strict_json import MAX_DOCUMENT_BYTES
from server.typed_texts import Texts, typed_texts

CONTENT_SECURITY_POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data: blob:",
        "connect-src 'self'",
        "manifest-src 'self'",
        "worker-src 'self'",
        "font-src 'self'",
        "base-uri 'none'",
        "form-action 'self'",
        "frame-ancestors 'none'",
    )
)
# Not "no-referrer": under it browsers send "Origin: null" with forms, also to their own
# server, and a form could not be told from a foreign one.
FIXED_HEADERS = {
    "Content-Security-Policy": CONTENT_SECURITY_POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
}
SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
SMALL_BODY_BYTES = 64 * 1024
# Plans and tasks carry points, notes carry four sections of text.
MIDDLE_BODY_BYTES = 1024 * 1024
DOCUMENTS = ("/api/trials/", "/api/cuts/", "/api/entries/")
MIDDLE_STARTS = ("/api/tasks",)
MIDDLE_ENDS = ("/plan", "/plan/items", "/note")
FOREIGN = "This request came from a page of another site."


class FixedHeaders:
    """Adds the header fields that every answer carries; what is not static is not cached."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer with the fields added."""

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers.update(FIXED_HEADERS)
                headers.setdefault("Cache-Control", "no-store")
            await send(message)

        if scope["type"] == "http":
            await self.app(scope, receive, send_with_headers)
        else:
            await self.app(scope, receive, send)


def is_foreign(headers: Headers, scheme: str) -> bool:
    """Return whether a page of another site sent a request.

    Browsers say where a write comes from; scripts, which cannot be tricked by a page,
    say nothing.
    """
    origin = headers.get("origin")
    if origin is not None:
        return origin != f"{scheme}://{headers.get('host', '')}"
    return headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none")


def body_limit_bytes(scope: Scope) -> int:
    """Return how large the body of a request may be, as it travels."""
    path = scope["path"]
    if scope["method"] == "PUT" and path.startswith(DOCUMENTS):
        return MAX_DOCUMENT_BYTES
    is_middle = path.startswith(MIDDLE_STARTS) or path.endswith(MIDDLE_ENDS)
    return MIDDLE_BODY_BYTES if is_middle else SMALL_BODY_BYTES


class GuardedWrites:
    """Refuses writes from foreign pages, and bodies that are too large before they are read."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, or refuse."""
        if scope["type"] != "http" or scope["method"] in SAFE_METHODS:
            await self.app(scope, receive, send)
            return
        problem = _refusal(scope)
        if problem is not None:
            typed = await _too_long(scope, receive) if problem.status == 413 else []
            await respond(Request(scope), problem, typed)(scope, receive, send)
            return
        await self.app(scope, _bounded(receive, body_limit_bytes(scope)), send)


def _refusal(scope: Scope) -> Problem | None:
    headers = Headers(scope=scope)
    if is_foreign(headers, scope["scheme"]):
        return Problem(403, FOREIGN)
    length = headers.get("content-length", "0")
    if length.isdecimal() and int(length) > body_limit_bytes(scope):
        return Problem(413)
    return None


async def _too_long(scope: Scope, receive: Receive) -> Texts:
    """Return what was typed in a form that is too long, unless it is beyond all reading."""
    request = Request(scope, _bounded(receive, MIDDLE_BODY_BYTES))
    length = request.headers["content-length"]
    if not wants_page(request) or int(length) > MIDDLE_BODY_BYTES:
        return []
    return await typed_texts(request)


def _bounded(receive: Receive, limit: int) -> Receive:
    received = 0

    async def bounded() -> Message:
        nonlocal received
        message = await receive()
        received += len(message.get("body", b""))
        if received > limit:
            raise HTTPException(413)
        return message

    return bounded
