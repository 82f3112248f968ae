"""Sign-in by a provider: its signed cookie, made here as Streamlit makes it, in the network mode.

The way to a provider and back needs one; what comes back is the cookie that is made here.
"""

from __future__ import annotations

import json

import pytest
from streamlit.web.server.starlette.starlette_app_utils import create_signed_value
from streamlit.web.server.starlette.starlette_server_config import USER_COOKIE_NAME

from .servers import NetworkServer, started

SECRET = "a secret of the test, long enough"


@pytest.fixture(scope="module")
def vouched(tmp_path_factory):
    """A server that takes the word of a provider for two leaders."""
    folder = tmp_path_factory.mktemp("vouched")
    running = NetworkServer(folder)
    secrets = folder / "secrets.toml"
    secrets.write_text(
        f"""
        [auth]
        leaders = ["subject-1", "verified@cordial.test"]
        redirect_uri = "{running.url}/oauth2callback"
        cookie_secret = "{SECRET}"
        client_id = "panel"
        client_secret = "none"
        server_metadata_url = "http://127.0.0.1:9/none"
        """
    )
    running.options = ("--secrets", str(secrets))
    with started(running):
        yield running


def come(visitor_of, server, secret=SECRET, **user):
    """A visitor with the cookie of a user whom the provider has signed in."""
    visitor = visitor_of(server)
    said = {"origin": server.url, "is_logged_in": True, **user}
    value = create_signed_value(secret, USER_COOKIE_NAME, json.dumps(said)).decode()
    visitor.context.add_cookies([{"name": USER_COOKIE_NAME, "value": value, "url": server.url}])
    visitor.goto("")
    return visitor


@pytest.mark.parametrize(
    "user",
    [
        {"sub": "subject-1"},
        {"sub": "subject-2", "email": "verified@cordial.test", "email_verified": True},
    ],
)
def test_listed_leaders_come_in(visitor_of, vouched, user):
    visitor = come(visitor_of, vouched, **user)
    visitor.at("today")
    visitor.page.get_by_role("button", name="Sign out").wait_for()


@pytest.mark.parametrize(
    "user",
    [
        {"sub": "subject-2"},
        {"sub": "subject-2", "email": "verified@cordial.test"},
        {"sub": "subject-2", "email": "verified@cordial.test", "email_verified": False},
    ],
)
def test_others_are_told_that_they_are_not_on_the_list(visitor_of, vouched, user):
    visitor = come(visitor_of, vouched, **user)
    visitor.page.get_by_text("You are signed in, but not on the list").wait_for()
    assert b"demo-" not in b"".join(visitor.frames)


def test_cookie_of_another_secret_is_refused(visitor_of, vouched):
    visitor = come(visitor_of, vouched, secret="guessed", sub="subject-1")
    visitor.page.get_by_role("button", name="Sign in with your account").wait_for()
    assert b"demo-" not in b"".join(visitor.frames)


def test_cookie_without_a_provider_is_worth_nothing(visitor_of, network):
    visitor = come(visitor_of, network, sub="subject-1")
    visitor.page.get_by_role("link", name="Sign in with your passcode").wait_for()
    assert b"demo-" not in b"".join(visitor.frames)
