"""Sign-in by an OpenID Connect provider, where ``secrets.toml`` names one and its leaders.

``[auth]`` is Streamlit's own section (it needs ``streamlit[auth]``); ``leaders`` is ours: a
list of subjects, or of e-mail addresses that the provider says it has verified. Without
``leaders`` nobody comes in this way.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

import streamlit as st


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
    return on_list(st.user.to_dict(), listed) if listed else None


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
