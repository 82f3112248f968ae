"""Where the files of the program lie, and where the record of its user does."""

from __future__ import annotations

import getpass
import os
from pathlib import Path

from platformdirs import user_data_path

from ..base.errors import ArgumentError

# A wheel carries in this folder what a checkout has at its top level (see pyproject.toml).
_CARRIED = Path(__file__).with_name("program")
INSTALLED = _CARRIED.is_dir()
HOME = _CARRIED if INSTALLED else Path(__file__).parents[2]
DEMO = HOME / "demo_data"


def login() -> str:
    """Who acts where nobody has signed: under which login this machine runs the program."""
    try:
        return f"{getpass.getuser()}, login of this machine"
    except (OSError, KeyError, ImportError):  # no such user, or no way to ask
        return "login of this machine"


def data_folder() -> Path:
    """Folder of the record: the user's own, or ``.data`` of a checkout. It is not made here."""
    return user_data_path("sensory", appauthor=False) if INSTALLED else HOME / ".data"


def secrets_file() -> Path:
    """The file that may name a provider for the sign-in, where no option names another."""
    return (data_folder() if INSTALLED else HOME / ".streamlit") / "secrets.toml"


def record_url() -> str:
    """SQLAlchemy URL of the record: that of SENSORY_RECORD, else a file in the data folder."""
    return os.environ.get("SENSORY_RECORD") or sqlite_url(data_folder() / "record.sqlite3")


def anchors_file() -> Path | None:
    """The file of SENSORY_ANCHORS, to which each sound daily check adds the newest hash."""
    named = os.environ.get("SENSORY_ANCHORS", "").strip()
    return Path(named) if named else None


def invented_url(url: str) -> str:
    """The record of invented data, apart from the own one: a file beside it.

    >>> invented_url("sqlite:////srv/panel/record.sqlite3")
    'sqlite:////srv/panel/record.invented.sqlite3'
    """
    own = file_of(url)
    if own is None:
        return sqlite_url(data_folder() / "record.invented.sqlite3")
    return sqlite_url(own.with_suffix(f".invented{own.suffix}"))


def sqlite_url(file: Path) -> str:
    """The URL of a SQLite file.

    Raises ArgumentError when the path has a question mark, where the options of a URL begin.

    Examples
    --------
    >>> sqlite_url(Path("/srv/panel/record.sqlite3"))
    'sqlite:////srv/panel/record.sqlite3'
    """
    if "?" in str(file):
        raise ArgumentError(f"The path of a record cannot have a question mark; got {file}.")
    return f"sqlite:///{file.absolute()}"


def file_of(url: str) -> Path | None:
    """The file of a SQLite record; None where the record is no file."""
    kind, _, rest = url.partition(":///")
    path = rest.partition("?")[0]
    return Path(path) if kind.startswith("sqlite") and path not in ("", ":memory:") else None


def kept_in(url: str) -> str:
    """Where the record is, in words for a leader: without user, password and options.

    >>> kept_in("postgresql+psycopg://panel:pass/word@plant:5432/panel?sslmode=require")
    'postgresql+psycopg://plant:5432/panel'
    >>> kept_in("sqlite://")
    'memory, and is gone when the program stops'
    """
    if file := file_of(url):
        return str(file.absolute())
    kind, _, rest = url.partition("://")
    if kind.startswith("sqlite"):
        return "memory, and is gone when the program stops"
    return f"{kind}://{rest.rpartition('@')[2].partition('?')[0]}"
