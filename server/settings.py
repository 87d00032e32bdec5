"""What can be set from outside, and its defaults."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import NamedTuple
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from platformdirs import user_data_path

from server.logs import LEVELS

SQLITE = "sqlite:///"
DATABASE_NAME = "linnet.sqlite3"


class Setting(NamedTuple):
    """One setting: read from the environment variable ``LINNET_`` and its name in capitals."""

    name: str
    default: str
    help: str

    @property
    def variable(self) -> str:
        """Name of the environment variable."""
        return f"LINNET_{self.name.upper()}"


SETTINGS = (
    Setting(
        "database",
        "",
        "File of the database, or its sqlite:/// URL; empty means linnet.sqlite3 in the user's "
        "data folder.",
    ),
    Setting("host", "127.0.0.1", "Address to listen on."),
    Setting("port", "8421", "Port to listen on; 0 takes a free one."),
    Setting(
        "secure_cookies",
        "no",
        "yes when the pages are reached over https, so that the sign-in cookie never travels "
        "without it.",
    ),
    Setting(
        "time_zone",
        "",
        "Time zone of the practice, such as Etc/GMT-1; it decides which day a session "
        "belongs to. Empty means the time zone of this machine.",
    ),
    Setting(
        "log_level",
        "info",
        "What is written to the error output: info for every request and every fault, warning "
        "for faults only. The demo writes faults only.",
    ),
)


class BadSetting(ValueError):
    """Raised when a setting cannot be used; says which one and what would be right."""


@dataclass(frozen=True)
class Settings:
    """Settings of one server.

    Parameters
    ----------
    database_url : str
        SQLAlchemy URL of the database.
    host, port
        Where to listen.
    secure_cookies : bool
        Whether the sign-in cookie is sent over https only.
    demo : bool
        Whether the invented scenario is being served.
    time_zone : str
        IANA name; empty means the time zone of this machine.
    log_level : str
        ``info`` or ``warning``.
    """

    database_url: str
    host: str = "127.0.0.1"
    port: int = 8421
    secure_cookies: bool = False
    demo: bool = False
    time_zone: str = ""
    log_level: str = "info"

    @property
    def database_path(self) -> Path:
        """File of the database."""
        return Path(self.database_url.removeprefix(SQLITE))

    @property
    def zone(self) -> ZoneInfo | None:
        """Time zone of the practice; None means that of this machine."""
        return ZoneInfo(self.time_zone) if self.time_zone else None

    def day_of(self, moment: datetime) -> date:
        """Return the practice's day at a moment (aware datetime)."""
        return self.local(moment).date()

    def local(self, moment: datetime) -> datetime:
        """Return the moment in the practice's time zone."""
        return moment.astimezone(self.zone)


def database_url(text: str) -> str:
    """Return the database URL for a file name or a URL.

    Parameters
    ----------
    text : str
        File, ``sqlite:///`` URL, or empty for the file in the user's data folder.

    Returns
    -------
    str
        URL.

    Raises
    ------
    BadSetting
        If it is the URL of another kind of database.

    Examples
    --------
    >>> database_url("/srv/linnet.sqlite3")
    'sqlite:////srv/linnet.sqlite3'
    """
    if not text:
        return f"{SQLITE}{user_data_path('linnet', appauthor=False) / DATABASE_NAME}"
    if text.startswith(SQLITE):
        text = text.removeprefix(SQLITE)
    elif "://" in text:
        raise BadSetting("LINNET_DATABASE must be a file or a sqlite:/// URL")
    if not text or text == ":memory:":
        raise BadSetting("LINNET_DATABASE must name a file: nothing may be lost at a restart")
    return f"{SQLITE}{Path(text).absolute()}"


def read_settings(
    environment: Mapping[str, str],
    *,
    database: str | None = None,
    host: str | None = None,
    port: int | None = None,
    secure_cookies: bool | None = None,
    log_level: str | None = None,
    demo: bool = False,
) -> Settings:
    """Return the settings in an environment; arguments that are not None go first.

    Parameters
    ----------
    environment : mapping
        Usually ``os.environ``.
    database, host, port, secure_cookies, log_level
        Take the place of the variable of that name.
    demo : bool
        Whether the invented scenario is being served.

    Returns
    -------
    Settings
        Checked settings.

    Raises
    ------
    BadSetting
        If one of them cannot be used.
    """
    given = {row.name: environment.get(row.variable) or row.default for row in SETTINGS}
    if secure_cookies is None:
        secure_cookies = _yes_or_no("LINNET_SECURE_COOKIES", given["secure_cookies"])
    return Settings(
        database_url=database_url(given["database"] if database is None else database),
        host=host or given["host"],
        port=_port(given["port"]) if port is None else port,
        secure_cookies=secure_cookies,
        demo=demo,
        time_zone=_time_zone(given["time_zone"]),
        log_level=_log_level(given["log_level"] if log_level is None else log_level),
    )


def _yes_or_no(variable: str, text: str) -> bool:
    if text not in ("yes", "no"):
        raise BadSetting(f"{variable} must be yes or no")
    return text == "yes"


def _log_level(text: str) -> str:
    if text not in LEVELS:
        raise BadSetting("LINNET_LOG_LEVEL must be info or warning")
    return text


def _port(text: str) -> int:
    if not text.isdecimal() or int(text) > 65535:
        raise BadSetting("LINNET_PORT must be a whole number from 0 to 65535")
    return int(text)


def _time_zone(text: str) -> str:
    try:
        if text:
            ZoneInfo(text)
    except (ZoneInfoNotFoundError, ValueError) as error:
        raise BadSetting("LINNET_TIME_ZONE must be a name such as Etc/GMT-1") from error
    return text
