"""The web application. Nothing is opened before it starts, nothing stays open after it ends."""

import logging
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from datetime import datetime

from fastapi import FastAPI, Request, Response
from sqlalchemy.exc import OperationalError
from starlette.responses import RedirectResponse
from starlette.types import ASGIApp

from analysis import ANALYSIS_VERSION
from server import (
    problems,
    routes_accounts,
    routes_children,
    routes_export,
    routes_health,
    routes_pages,
    routes_static,
    routes_tablet,
    routes_trials,
)
from server.auth import Throttle
from server.database import ProcessLock, check_schema, make_engine, make_sessions
from server.deps import NotSignedIn
from server.problems import Problem, respond
from server.protection import FixedHeaders, GuardedWrites
from server.settings import Settings

ROUTERS = (
    routes_accounts.router,
    routes_children.router,
    routes_export.router,
    routes_health.router,
    routes_pages.router,
    routes_static.router,
    routes_tablet.router,
    routes_trials.router,
)

log = logging.getLogger("linnet")

Clock = Callable[[], datetime]


class Application(FastAPI):
    """FastAPI, with the fixed header fields on answers to unexpected errors too."""

    def build_middleware_stack(self) -> ASGIApp:
        """Put the header fields outside of everything else."""
        return FixedHeaders(super().build_middleware_stack())


@asynccontextmanager
async def _running(app: FastAPI) -> AsyncIterator[None]:
    lock = ProcessLock(app.state.settings.database_path)
    try:
        check_schema(app.state.engine)
        yield
    finally:
        app.state.engine.dispose()
        lock.release()


async def _not_signed_in(request: Request, _error: Exception) -> Response:
    if request.url.path.startswith("/api"):
        return respond(request, Problem(401))
    return RedirectResponse("/", 303)


async def _database_fault(request: Request, error: Exception) -> Response:
    # Disk full, file gone, locked for too long: the sender keeps what it has and comes back.
    # Only the kind of the error: its text would hold the values.
    log.error("the database did not do its work: %s", type(error.__cause__ or error).__name__)
    return respond(request, Problem(503))


def create_app(settings: Settings, clock: Clock) -> FastAPI:
    """Make the application.

    Parameters
    ----------
    settings : Settings
        Say which database; it must have the newest schema when the application starts.
    clock : callable
        Returns the time, aware.

    Returns
    -------
    FastAPI
        With `settings`, `sessions` and `clock` in its state.
    """
    app = Application(
        title="Linnet",
        version=ANALYSIS_VERSION,
        openapi_url="/api/openapi.json",
        # FastAPI's own pages load from other hosts.
        docs_url=None,
        redoc_url=None,
        lifespan=_running,
    )
    app.state.settings = settings
    app.state.clock = clock
    app.state.engine = make_engine(settings)
    app.state.sessions = make_sessions(app.state.engine)
    app.state.throttle = Throttle()
    app.state.health = routes_health.Health(app.state.sessions)
    app.add_middleware(GuardedWrites)
    problems.install(app)
    app.add_exception_handler(NotSignedIn, _not_signed_in)
    app.add_exception_handler(OperationalError, _database_fault)
    for router in ROUTERS:
        app.include_router(router)
    routes_static.mount_files(app)
    return app
