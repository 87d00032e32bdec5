"""One log line for each request, and the random id by which its lines belong together."""

import logging
import secrets
from time import perf_counter
from typing import Any

from starlette.datastructures import MutableHeaders
from starlette.responses import JSONResponse
from starlette.routing import Mount
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from server.logs import LOGGER, request_id, told
from server.problems import NEVER_CACHED, PROBLEM_JSON, Problem

REQUEST_ID_HEADER = "X-Request-ID"
REQUEST_ID_BYTES = 8
NO_ROUTE = "(none)"
# A sender may write any word where the method stands.
METHODS = frozenset({"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"})
OTHER_METHOD = "(other)"

log = logging.getLogger(LOGGER)


def route_template(scope: Scope) -> str:
    """Return the address as it stands in the code, such as ``/api/children/{child_id}``.

    Parameters
    ----------
    scope : Scope
        Of a request that has been answered.

    Returns
    -------
    str
        ``(none)`` if no route was found. Never a part of the address that was asked for.
    """
    route = scope.get("route")
    if route is not None:
        return str(route.path)
    for mount in scope["app"].routes:
        if isinstance(mount, Mount) and mount.app is scope.get("endpoint"):
            return f"{mount.path}/{{path}}"
    return NO_ROUTE


class RequestLog:
    """Gives every request an id of the server's own making, and logs how it was answered."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, and log it."""
        if scope["type"] == "http":
            await self._answer(scope, receive, send)
            return
        try:
            await self.app(scope, receive, send)
        except Exception as error:
            log.error("the application could not start or stop", extra=told(error))  # noqa: TRY400
            raise

    async def _answer(self, scope: Scope, receive: Receive, send: Send) -> None:
        # Never taken over from the sender: it could hold a name. Never set back either: what
        # the server's own log says of this request afterwards belongs to it.
        own_id = secrets.token_hex(REQUEST_ID_BYTES)
        request_id.set(own_id)
        began_s = perf_counter()
        status: int | None = None
        fault: dict[str, Any] = {}

        async def send_with_id(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                MutableHeaders(scope=message)[REQUEST_ID_HEADER] = own_id
            await send(message)

        try:
            await self.app(scope, receive, send_with_id)
        except Exception as error:
            fault = told(error)
            if status is None:
                await _last_answer()(scope, receive, send_with_id)
            raise
        finally:
            is_fault = bool(fault) or (status or 0) >= 500
            log.log(
                logging.ERROR if is_fault else logging.INFO,
                "request",
                extra={
                    "method": scope["method"] if scope["method"] in METHODS else OTHER_METHOD,
                    "route": route_template(scope),
                    "status": status,
                    "duration_ms": round((perf_counter() - began_s) * 1000, 1),
                }
                | fault,
            )


def _last_answer() -> JSONResponse:
    """Return the answer where even the answering of errors has failed."""
    problem = Problem(500)
    return JSONResponse(problem.as_dict(), 500, NEVER_CACHED, media_type=PROBLEM_JSON)
