"""``linnet demo`` and ``linnet serve``: one process, one database, one port."""

import os
import signal
import socket
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NoReturn

import typer
import uvicorn
from fastapi import FastAPI

from server.app import create_app
from server.cli_forms import json_line
from server.cli_progress import shown
from server.cli_troubles import ended
from server.database import ProcessLock, check_schema, prepare_file, upgrade
from server.demo import NotEmpty, fill
from server.demo_files import DemoAccounts
from server.erasing import apply_ledger
from server.logs import start_logging
from server.pairing import make_code
from server.settings import Settings, read_settings
from server.store_accounts import account_by_name
from server.store_invitations import invite_owner, path_of

THIS_MACHINE = "127.0.0.1"
EVERYWHERE = "0.0.0.0"  # noqa: S104 - only ever used together with a certificate
PROGRESS_TEXT = "Laying out Brackwater"
NO_OWNER = (
    "Nobody owns this practice yet. Whoever opens this link first, within 24 hours, becomes its "
    "owner:"
)


class CannotServe(RuntimeError):
    """Raised when serving cannot begin; says what to do."""


def wall_clock() -> datetime:
    """Return the time of this machine, aware: the only place that asks for it."""
    return datetime.now(UTC)  # noqa: TID251 - everything else is given this clock


def _bound(host: str, port: int) -> socket.socket:
    sock = socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET)
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        sock.bind((host, port))
    except OSError as error:
        sock.close()
        raise CannotServe(
            f"port {port} on {host} cannot be used ({error.strerror}): "
            "give another with --port, or 0 for any free one"
        ) from error
    return sock


def _stop(_signal: int, _frame: object) -> NoReturn:
    sys.exit(0)


class _Announced(uvicorn.Server):
    """A server that says so when it is ready."""

    def __init__(self, config: uvicorn.Config, words: str) -> None:
        super().__init__(config)
        self.words = words

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Start, then print where."""
        await super().startup(sockets=sockets)
        if self.started:
            typer.echo(self.words)


def _run(
    app: FastAPI, sock: socket.socket, words: str, tls: tuple[Path, Path] | None = None
) -> None:
    start_logging(app.state.settings.log_level)
    config = uvicorn.Config(
        app,
        log_config=None,
        access_log=False,
        server_header=False,
        ssl_certfile=None if tls is None else str(tls[0]),
        ssl_keyfile=None if tls is None else str(tls[1]),
    )
    server = _Announced(config, words)
    server.run(sockets=[sock])
    if not server.started:
        raise CannotServe("the server could not start; the lines above say where it stopped")


@contextmanager
def _prepared(settings: Settings) -> Iterator[FastAPI]:
    """Yield the application on a database that is new or of the right schema, and is ours."""
    is_new = prepare_file(settings.database_path)
    lock = ProcessLock(settings.database_path)
    try:
        if is_new:
            upgrade(settings)
        app = create_app(settings, wall_clock)
        check_schema(app.state.engine)
        # Again where it is served from; here its words reach whoever starts it.
        apply_ledger(settings.database_path, wall_clock())
        yield app
        app.state.engine.dispose()
    finally:
        lock.release()


def _exit_code(serving: Callable[[], None]) -> int:
    # After its own shutdown uvicorn raises the signal again: then this ends the process
    # in the ordinary way, so that a throw-away database is thrown away.
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, _stop)

    def work() -> int:
        serving()
        return 0

    return ended(work, CannotServe, NotEmpty)


def _filled(app: FastAPI) -> DemoAccounts:
    settings: Settings = app.state.settings
    with app.state.sessions() as db, shown(PROGRESS_TEXT) as progress:
        return fill(db, today=settings.day_of(wall_clock()), clock=wall_clock, progress=progress)


def _pairing_code(app: FastAPI, name: str) -> str:
    with app.state.sessions() as db:
        account = account_by_name(db, name)
        if account is None:
            raise CannotServe(f"the demo's account {name} is not in this database")
        code, _ = make_code(db, account.id, wall_clock())
        db.commit()
        return code


def _demo_words(links: dict[str, str], accounts: DemoAccounts, database: Path | None) -> str:
    rows = [f"  {one.role:<11} {one.name:<9} {one.passphrase}" for one in accounts.accounts]
    kept = "Nothing is kept." if database is None else f"Kept in {database}"
    return "\n".join(
        [
            "The invented harbour town of Brackwater is open.",
            "",
            f"Desk    {links['desk_url']}",
            *rows,
            f"Tablet  {links['tablet_url']}",
            f"  pairing code {links['pairing_code']} (ten minutes; the desk makes new ones)",
            "",
            f"Stop with Ctrl+C. {kept}",
        ]
    )


def _demo(settings: Settings, sock: socket.socket, *, as_json: bool, kept: Path | None) -> None:
    with _prepared(settings) as app:
        accounts = _filled(app)
        code = _pairing_code(app, accounts.tablet_name)
    base = f"http://{THIS_MACHINE}:{sock.getsockname()[1]}"
    links = {"desk_url": f"{base}/", "tablet_url": f"{base}/tablet", "pairing_code": code}
    if as_json:
        words = json_line({**links, "accounts": [asdict(one) for one in accounts.accounts]})
    else:
        words = _demo_words(links, accounts, kept)
    _run(app, sock, words)


def serve_demo(*, port: int, as_json: bool = False, database: Path | None = None) -> int:
    """Serve the demo scenario until stopped.

    Parameters
    ----------
    port : int
        Port on 127.0.0.1; 0 takes a free one.
    as_json : bool
        Print links and sign-ins as one line of JSON instead of words.
    database : Path or None
        Where to keep the database; None throws it away at the end.

    Returns
    -------
    int
        Exit code.
    """

    def serving() -> None:
        with TemporaryDirectory(prefix="linnet-") as folder, _bound(THIS_MACHINE, port) as sock:
            settings = read_settings(
                os.environ,
                database=str(database or Path(folder) / "demo.sqlite3"),
                host=THIS_MACHINE,
                port=port,
                secure_cookies=False,
                # The links it prints stay in sight.
                log_level="warning",
                demo=True,
            )
            _demo(settings, sock, as_json=as_json, kept=database)

    return _exit_code(serving)


def _real_settings(database: str | None, port: int | None, *, with_tls: bool) -> Settings:
    settings = read_settings(
        os.environ,
        database=database,
        host=None if not with_tls or os.environ.get("LINNET_HOST") else EVERYWHERE,
        port=port,
        secure_cookies=True if with_tls else None,
    )
    if not with_tls and settings.host not in (THIS_MACHINE, "localhost", "::1"):
        raise CannotServe("other machines may connect only with --tls-cert and --tls-key")
    return settings


def serve_database(
    *,
    database: str | None,
    port: int | None,
    tls_cert: Path | None = None,
    tls_key: Path | None = None,
) -> int:
    """Serve the real database until stopped.

    Parameters
    ----------
    database : str or None
        File or URL; None takes the setting.
    port : int or None
        Port; None takes the setting.
    tls_cert, tls_key : Path or None
        Certificate and key (PEM); without them only this machine may connect.

    Returns
    -------
    int
        Exit code.
    """
    tls = None if tls_cert is None or tls_key is None else (tls_cert, tls_key)

    def serving() -> None:
        settings = _real_settings(database, port, with_tls=tls is not None)
        with _bound(settings.host, settings.port) as sock:
            is_new = not settings.database_path.exists()
            with _prepared(settings) as app, app.state.sessions() as db:
                secret = invite_owner(db, wall_clock())
                db.commit()
            scheme = "http" if tls is None else "https"
            base = f"{scheme}://{settings.host}:{sock.getsockname()[1]}"
            words = f"Linnet listens on {base}/"
            if secret is not None:
                words = f"{words}\n{NO_OWNER}\n{base}{path_of(secret)}"
            if is_new:
                words = f"{words}\nA new, empty database was made: {settings.database_path}"
            _run(app, sock, words, tls)

    return _exit_code(serving)
