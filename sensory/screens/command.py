"""The command line: ``sensory``, ``sensory network`` and ``sensory demo-year FILE``."""

from __future__ import annotations

import argparse
import shlex
import socket
import sys
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path

from ..base.errors import RecordError, SensoryError
from ..base.version import __version__

_ABOUT = """\
Without a command the app opens for this machine alone, on http://127.0.0.1:8501.
The record of a checkout is kept in its folder .data, that of an installed program in
the user's data folder; the environment variable SENSORY_RECORD, a SQLAlchemy URL,
names another place."""


def main(words: Sequence[str] | None = None) -> None:
    """Do what the command line asks for; what stands against it is said in a sentence."""
    wanted = parsed(words)
    try:
        wanted.run(wanted)
    except SensoryError as error:
        sys.exit(f"sensory: {error}")
    except ModuleNotFoundError as error:
        if (error.name or "sensory").startswith("sensory"):
            raise
        sys.exit(
            f"sensory: the app needs {error.name}, which is not installed. Everything that it "
            "needs comes with: pip install 'sensory[app]'"
        )
    except KeyboardInterrupt:
        print("Stopped.")


def parsed(words: Sequence[str] | None) -> argparse.Namespace:
    """Options and the function that carries them out."""
    asked = argparse.ArgumentParser(
        prog="sensory",
        description="Sensory panels against the reference: from a question to a finding.",
        epilog=_ABOUT,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    asked.add_argument("--version", action="version", version=f"sensory {__version__}")
    asked.add_argument("--port", type=_port, default=8501, help="where to listen (8501)")
    asked.set_defaults(run=_local)
    commands = asked.add_subparsers(title="commands", metavar="COMMAND")
    network = commands.add_parser(
        "network",
        help="open the app for a network, where each signs in",
        description="Open the app for a network: booths reach it, and each who leads a panel or "
        "decides signs in. Name and passcode of the first account are asked for at the first "
        "start or taken from SENSORY_NAME and SENSORY_PASSCODE; it adds the others on the "
        "page Panel.",
    )
    _network_options(network)
    year = commands.add_parser(
        "demo-year",
        help="put a year of an invented cordial on record",
        description="Put a year of an invented cordial on record: two lines, 116 batches with "
        "their lots, ballots, references and decisions; and another one graded at a third line.",
    )
    year.add_argument("file", metavar="FILE", type=Path, help="SQLite file, made if need be")
    year.set_defaults(run=_demo_year)
    wanted = asked.parse_args(words)
    if wanted.run is _network and bool(wanted.certificate) != bool(wanted.key):
        network.error("--certificate and --key go together")
    return wanted


def _network_options(asked: argparse.ArgumentParser) -> None:
    # Without a default of its own it leaves a --port that stands before the command alone.
    asked.add_argument(
        "--port", type=_port, default=argparse.SUPPRESS, help="where to listen (8501)"
    )
    asked.add_argument(
        "--address", default="0.0.0.0", help="address to listen on (all of this machine)"
    )
    asked.add_argument(
        "--name",
        default=socket.gethostname(),
        help="name under which others reach this machine (%(default)s)",
    )
    asked.add_argument("--certificate", metavar="FILE", type=_file, help="for https, PEM")
    asked.add_argument("--key", metavar="FILE", type=_file, help="of the certificate, PEM")
    asked.add_argument(
        "--secrets", metavar="FILE", type=_file, help="secrets.toml of a sign-in by a provider"
    )
    asked.add_argument(
        "--new-passcode",
        action="store_true",
        help="set the passcode of somebody who manages people",
    )
    asked.set_defaults(run=_network)


def _port(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= 65535:
        raise argparse.ArgumentTypeError(f"a port is a number from 1 to 65535, not {text!r}")
    return int(text)


def _file(text: str) -> Path:
    if not Path(text).is_file():
        raise argparse.ArgumentTypeError(f"there is no file {text}")
    return Path(text)


def _local(wanted: argparse.Namespace) -> None:
    from .server import serve_this_machine

    serve_this_machine(wanted.port)


def _network(wanted: argparse.Namespace) -> None:
    from .network import serve_network

    serve_network(wanted)


def _demo_year(wanted: argparse.Namespace) -> None:
    from ..release.prepared_year import load_year
    from ..store.repository import open_store
    from .places import DEMO, sqlite_url

    url = sqlite_url(wanted.file)
    reached = ""

    def told(day: str, share: float) -> None:
        nonlocal reached
        if day[:7] != reached:
            reached = day[:7]
            print(f"  {share:4.0%}  {reached}", flush=True)

    print("A year is put on record, month by month:", flush=True)
    try:
        with closing(open_store(url)) as store:
            product = load_year(store, DEMO, who="demo", progress=told)
    except RecordError as error:
        raise RecordError(f"{wanted.file}: {error}") from error
    except KeyboardInterrupt:
        raise RecordError(f"{wanted.file}: stopped; nothing of the year is on record.") from None
    shown = f"SENSORY_RECORD={shlex.quote(url)} sensory"
    print(f"A year of {product} is on record. To look at it: {shown}")


if __name__ == "__main__":
    main()
