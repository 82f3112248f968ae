"""Sign-in by an OpenID Connect provider, where ``secrets.toml`` names one and its leaders.

``[auth]`` is Streamlit's own section (it needs ``streamlit[auth]``); ``leaders`` is ours: a
list of subjects, or of e-mail addresses that the provider says it has verified. Without
``leaders`` nobody comes in this way.

Why so
------
The cookie of a provider lives for a month, and Streamlit takes it from the browser at the sign-out
only. So a cookie that signed out is remembered until the next start, and its windows end.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Mapping
from typing import Any

import streamlit as st
from streamlit.web.server.starlette import starlette_websocket
from streamlit.web.server.starlette.starlette_server_config import USER_COOKIE_NAME

_WITHDRAWN: set[str] = set()


def leaders() -> frozenset[str]:
    """Who may come in as a leader; empty without a provider."""
    return named_in(st.secrets) if st.secrets.load_if_toml_exists() else frozenset()


def named_in(secrets: Mapping[str, Any]) -> frozenset[str]:
    """The list in the section ``[auth]``; one name without brackets is no list.

    >>> named_in({"auth": {"leaders": ["plum"]}}), named_in({"auth": {"leaders": "plum"}})
    (frozenset({'plum'}), frozenset())
    """
    named = secrets.get("auth", {}).get("leaders", ())
    return frozenset(named) if isinstance(named, (list, tuple)) else frozenset()


def listed_leader() -> str | None:
    """The name on the list under which this visitor has signed in."""
    listed = leaders()
    if not listed or _mark_of(st.context.cookies) in _WITHDRAWN:
        return None
    return on_list(st.user.to_dict(), listed)


def user_in(cookies: dict[str, str]) -> dict[str, Any]:
    """The user in Streamlit's own cookie, which it has signed; empty without one, or signed out."""
    if USER_COOKIE_NAME not in cookies or _mark_of(cookies) in _WITHDRAWN:
        return {}
    signed = starlette_websocket._get_signed_cookie_with_chunks(cookies, USER_COOKIE_NAME)
    user = json.loads(signed) if signed else {}
    return user if isinstance(user, dict) else {}


def withdraw(cookies: Mapping[str, str]) -> None:
    """From now on these cookies sign nobody in."""
    if USER_COOKIE_NAME in cookies:
        _WITHDRAWN.add(_mark_of(cookies))


def _mark_of(cookies: Mapping[str, str]) -> str:
    return hashlib.sha256(cookies.get(USER_COOKIE_NAME, "").encode()).hexdigest()


def on_list(user: Mapping[str, object], listed: Collection[str]) -> str | None:
    """The user's subject or verified e-mail address, if it is on the list.

    An address that the provider has not verified is no identity: users may write any.

    >>> on_list({"is_logged_in": True, "email": "a@b.c", "email_verified": True}, ["a@b.c"])
    'a@b.c'
    >>> on_list({"is_logged_in": True, "email": "a@b.c"}, ["a@b.c"]) is None
    True
    """
    if user.get("is_logged_in") is not True:
        return None
    names = [user.get("sub"), user.get("email") if user.get("email_verified") is True else None]
    return next((str(name) for name in names if name and name in listed), None)
