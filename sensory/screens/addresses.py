"""Under which address booths reach this machine.

Why so
------
A leader who sits at the machine itself opens the program at 127.0.0.1. On a tablet that is the
tablet, so a card with it leads nowhere: in the network mode it is refused, and the machine's own
address in the network is offered. That one is asked of the operating system by a socket that sends
nothing: for a datagram socket connecting means only to look up the way out.
"""

from __future__ import annotations

import socket
from collections.abc import Callable
from urllib.parse import urlsplit

from ..base.errors import ArgumentError
from .access import this_machine

_ANYWHERE = ("192.0.2.1", 9)  # an address for examples, RFC 5737; nothing is sent to it


def in_network() -> str:
    """This machine's address in the network, as the system would take it; empty for none."""
    try:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as way_out:
            way_out.connect(_ANYWHERE)
            return str(way_out.getsockname()[0])
    except OSError:
        return ""


def offered_address(opened_at: str, *, network: bool, look: Callable[[], str] = in_network) -> str:
    """What is offered for booths: where this page was opened, or this machine in the network.

    `opened_at`: URL under which the leader sees the program. `network`: whether booths may stand
    on other machines.

    >>> offered_address("http://10.0.0.12:8501/serve?x=1", network=True)
    'http://10.0.0.12:8501'
    >>> offered_address("http://127.0.0.1:8501/", network=True, look=lambda: "10.0.0.12")
    'http://10.0.0.12:8501'
    >>> offered_address("http://127.0.0.1:8501/", network=False, look=lambda: "10.0.0.12")
    'http://127.0.0.1:8501'
    """
    parts = urlsplit(opened_at)
    if not parts.netloc:
        return ""
    if network and _own(parts.hostname):
        port = f":{parts.port}" if parts.port else ""
        reached_at = look()
        return f"{parts.scheme}://{reached_at}{port}" if reached_at else ""
    return f"{parts.scheme}://{parts.netloc}"


def _own(host: str | None) -> bool:
    """Whether a host means the machine that asks for it: on a tablet, the tablet."""
    return this_machine(host) or host in ("0.0.0.0", "::")


def booth_address(typed: str, *, network: bool) -> str:
    """The address as links carry it.

    Raises ArgumentError for what is no address, or leads booths on other machines to themselves.

    >>> booth_address(" 10.0.0.12:8501/ ", network=True)
    'http://10.0.0.12:8501'
    >>> booth_address("http://localhost:8501", network=True)
    Traceback (most recent call last):
    sensory.base.errors.ArgumentError: Booths cannot reach localhost: on a tablet it means the \
tablet itself. Give this machine's address in the network, such as http://10.0.0.12:8501.
    """
    text = typed.strip().rstrip("/")
    if not text:
        raise ArgumentError(
            "Booths need an address. Give name and port of this machine in the network, such as "
            "http://10.0.0.12:8501."
        )
    parts = urlsplit(text if "://" in text else f"http://{text}")
    try:
        host, _ = parts.hostname, parts.port
    except ValueError:
        host = None
    beside = parts.path or parts.query or parts.fragment or parts.username
    if parts.scheme not in ("http", "https") or not host or beside or len(text.split()) != 1:
        raise ArgumentError(
            f"{typed!r} is no address. Give the scheme, name and port of this machine, such as "
            "http://10.0.0.12:8501."
        )
    if network and _own(host):
        raise ArgumentError(
            f"Booths cannot reach {host}: on a tablet it means the tablet itself. Give this "
            "machine's address in the network, such as http://10.0.0.12:8501."
        )
    return f"{parts.scheme}://{parts.netloc}"
