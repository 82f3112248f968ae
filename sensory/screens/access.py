"""Who asks? The pages of a run follow from the answer; nothing else decides it.

Why so
------
Pages follow from who asks. `app.py` registers on every run only the pages of a leader, a booth or
a stranger, so that the others have no address; the tests read every frame. A link of a booth
makes a booth even in a leader's browser. Without the network mode everybody is the leader, but
only where the server listens on a loopback address.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Mapping
from dataclasses import dataclass

import streamlit as st
from streamlit.runtime.scriptrunner import get_script_run_ctx

from ..sessions.signing import PASSCODE, PROVIDER, TYPED
from . import provider
from .passcode import COOKIE, Keeper

SIGN_IN, SIGN_OUT = "/sign-in", "/sign-out"


@dataclass(frozen=True, slots=True, kw_only=True)
class Leader:
    """May open every page.

    `person`: key of the person in the record, as the sign-in proves it; empty on one machine,
        where nothing does.
    `listed`: the name by which a provider vouches for somebody who may have no key yet.
    """

    person: str = ""
    listed: str = ""

    @property
    def signed_in(self) -> bool:
        """Whether it is proven who this is."""
        return bool(self.person or self.listed)

    @property
    def how(self) -> str:
        """How far the identity is proven, for the journal."""
        if not self.signed_in:
            return TYPED
        return PROVIDER if self.listed else PASSCODE


@dataclass(frozen=True, slots=True, kw_only=True)
class Booth:
    """An assessor with a link; whether its token is valid is for the booth page to say."""

    token: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Stranger:
    """Anybody else; `can_sign_in` is False where the program was started for one machine.

    `put_out`: whether the record has it that this person no longer signs.
    """

    can_sign_in: bool = True
    put_out: bool = False


Visitor = Leader | Booth | Stranger

_KEEPERS: list[Keeper] = []
_LED: set[str] = set()  # connections of the server that a sign-in made a leader's


def serve_others(keeper: Keeper) -> None:
    """From now on, in this process, a leader has to sign in."""
    _KEEPERS[:] = [keeper]


def who_asks(
    query: Mapping[str, str],
    cookies: Mapping[str, str],
    *,
    keeper: Keeper | None,
    address: str | None,
    listed: str | None = None,
) -> Visitor:
    """The visitor behind a run.

    There is no keeper where the program was started for this machine only: then only a loopback
    address of the server makes a leader, so that nobody opens the record to a network by one
    option. `listed` is the leader whom a provider vouches for and the list names.

    >>> who_asks({}, {}, keeper=None, address="127.0.0.1")
    Leader(person='', listed='')
    >>> who_asks({}, {}, keeper=None, address="0.0.0.0")
    Stranger(can_sign_in=False, put_out=False)
    >>> who_asks({"booth": "plum"}, {}, keeper=None, address="127.0.0.1")
    Booth(token='plum')
    """
    if "booth" in query:
        return Booth(token=query["booth"])
    if keeper is None:
        return Leader() if this_machine(address) else Stranger(can_sign_in=False)
    if listed:
        return Leader(person=keeper.person_of(listed) or "", listed=listed)
    if person := keeper.signed_in(cookies.get(COOKIE)):
        return Leader(person=person)
    return Stranger()


def visitor() -> Visitor:
    """Who asks in this run of the script."""
    keeper = kept()
    listed = provider.listed_leader() if keeper else None
    cookies, address = st.context.cookies, st.get_option("server.address")
    who = who_asks(st.query_params, cookies, keeper=keeper, address=address, listed=listed)
    context = get_script_run_ctx()
    if context and isinstance(who, Leader) and who.signed_in:
        _LED.add(context.session_id)
    return who


def kept() -> Keeper | None:
    """What knows the ways in; None where the program was started for this machine only."""
    return _KEEPERS[0] if _KEEPERS else None


def was_led(session_id: str) -> bool:
    """Whether a leader was once signed in on this connection of the server."""
    return session_id in _LED


def this_machine(address: str | None) -> bool:
    """Whether only this machine reaches the address.

    >>> [this_machine(host) for host in ("127.0.0.1", "::1", "localhost", "0.0.0.0", "", None)]
    [True, True, True, False, False, False]
    """
    if address == "localhost":
        return True
    try:
        return ipaddress.ip_address(address or "").is_loopback
    except ValueError:
        return False
