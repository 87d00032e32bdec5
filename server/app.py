"""The web application. Nothing is opened before it starts, nothing stays open after it ends."""

import logging
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from datetime import datetime
from functools import cache
from typing import Any

from fastapi import APIRouter, FastAPI, Request, Response
from sqlalchemy.exc import OperationalError
from starlette.routing import BaseRoute
from starlette.types import ASGIApp

from analysis import ANALYSIS_VERSION
from server import (
    problems,
    routes_accounts,
    routes_audit,
    routes_children,
    routes_consents,
    routes_corrections,
    routes_cuts,
    routes_desk_account,
    routes_desk_child,
    routes_desk_family,
    routes_desk_notes,
    routes_desk_owner,
    routes_desk_practice,
    routes_desk_session,
    routes_desk_session_plan,
    routes_desk_session_seen,
    routes_desk_today,
    routes_desk_trial,
    routes_desk_trial_said,
    routes_entries,
    routes_export,
    routes_goals,
    routes_health,
    routes_join,
    routes_links,
    routes_notes,
    routes_observations,
    routes_own_account,
    routes_owner,
    routes_pages,
    routes_plans,
    routes_sessions,
    routes_static,
    routes_steps,
    routes_tablet,
    routes_tablets,
    routes_tasks,
    routes_trials,
    routes_words,
)
from server.auth import Throttle
from server.database import ProcessLock, check_schema, make_engine, make_sessions
from server.deps import NotSignedIn
from server.erasing import apply_ledger
from server.logs import LOGGER, told
from server.openapi import described
from server.problems import Problem, respond
from server.protection import FixedHeaders, GuardedWrites
from server.request_log import RequestLog
from server.settings import Settings
from server.signed_out import signed_out_answer
from server.way_back import pages_of

ROUTERS = (
    routes_accounts.router,
    routes_audit.router,
    routes_children.router,
    routes_consents.router,
    routes_corrections.router,
    routes_cuts.router,
    routes_desk_account.router,
    routes_desk_child.router,
    routes_desk_family.router,
    routes_desk_notes.router,
    routes_desk_owner.router,
    routes_desk_practice.router,
    routes_desk_session.router,
    routes_desk_session_plan.router,
    routes_desk_session_seen.router,
    routes_desk_today.router,
    routes_desk_trial.router,
    routes_desk_trial_said.router,
    routes_entries.router,
    routes_export.router,
    routes_goals.router,
    routes_health.router,
    routes_join.router,
    routes_links.router,
    routes_notes.router,
    routes_observations.router,
    routes_own_account.router,
    routes_owner.router,
    routes_pages.router,
    routes_plans.router,
    routes_sessions.router,
    routes_static.router,
    routes_steps.router,
    routes_tablet.router,
    routes_tablets.router,
    routes_tasks.router,
    routes_trials.router,
    routes_words.router,
)

log = logging.getLogger(LOGGER)

Clock = Callable[[], datetime]


class Application(FastAPI):
    """FastAPI, with fixed header fields and a log line for answers to unexpected errors too."""

    def build_middleware_stack(self) -> ASGIApp:
        """Put the header fields and the log outside of everything else."""
        return FixedHeaders(RequestLog(super().build_middleware_stack()))

    def openapi(self) -> dict[str, Any]:
        """Describe the interface once, errors as they are sent."""
        if self.openapi_schema is None:
            self.openapi_schema = described(self)
        return self.openapi_schema


@asynccontextmanager
async def _running(app: FastAPI) -> AsyncIterator[None]:
    lock = ProcessLock(app.state.settings.database_path)
    try:
        check_schema(app.state.engine)
        apply_ledger(app.state.settings.database_path, app.state.clock())
        yield
    finally:
        app.state.engine.dispose()
        lock.release()


async def _not_signed_in(request: Request, _error: Exception) -> Response:
    if request.url.path.startswith("/api"):
        return respond(request, Problem(401))
    return await signed_out_answer(request)


async def _database_fault(request: Request, error: Exception) -> Response:
    # Disk full, file gone, locked for too long: the sender keeps what it has and comes back.
    log.error("the database did not do its work", extra=told(error))
    return respond(request, Problem(503, headers={"Retry-After": "30"}))


@cache
def _laid_out() -> tuple[BaseRoute, ...]:
    """Lay out all routes once: to read the parameters of each takes long."""
    together = APIRouter()
    for router in ROUTERS:
        together.include_router(router)
    return tuple(together.routes)


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
    equip(app, settings, clock)
    app.add_middleware(GuardedWrites)
    problems.install(app)
    app.add_exception_handler(NotSignedIn, _not_signed_in)
    app.add_exception_handler(OperationalError, _database_fault)
    app.router.routes.extend(_laid_out())
    routes_static.mount_files(app)
    app.state.pages = pages_of(ROUTERS)
    return app


def equip(app: FastAPI, settings: Settings, clock: Clock) -> None:
    """Give an application that does not run its database, its clock and fresh counters.

    Arguments are those of `create_app`; what was in its state before is replaced.
    """
    app.state.settings = settings
    app.state.clock = clock
    app.state.engine = make_engine(settings)
    app.state.sessions = make_sessions(app.state.engine)
    app.state.throttle = Throttle()
    app.state.health = routes_health.Health(app.state.sessions)
