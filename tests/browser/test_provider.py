"""Sign-in by a provider in the network mode: the way there and back, and its signed cookie.

The way needs `streamlit[auth]`; cookies are made here as Streamlit makes them.
"""

from __future__ import annotations

import json
import os
import time
from importlib.util import find_spec

import itsdangerous
import pytest
from streamlit.web.server.starlette.starlette_app_utils import create_signed_value
from streamlit.web.server.starlette.starlette_server_config import USER_COOKIE_NAME

from sensory.sessions.staff import IN, OUT, REFUSED
from sensory.store.repository import open_store

from .oidc import CLIENT, CLIENT_SECRET, Provider
from .servers import NetworkServer, started
from .unseen import Browser, Drawn

SECRET = "a secret of the test, long enough"
TO_PROVIDER = "Sign in with your account"
NOT_LISTED = "You are signed in, but not on the list"
MONTH_AND_A_DAY = 31 * 86_400


@pytest.fixture(scope="module")
def provider():
    """None where Streamlit's part for providers is missing."""
    return Provider() if find_spec("authlib") else None


@pytest.fixture
def vouches(provider):
    """The provider, with sound tokens."""
    if provider is None:
        reason = "Authlib is missing: install 'streamlit[auth]'"
        if os.environ.get("CI") == "true":
            pytest.fail(reason)
        pytest.skip(reason)
    provider.anew(sub="subject-1")
    return provider


@pytest.fixture(scope="module")
def vouched(tmp_path_factory, provider):
    """A server that takes the word of a provider for two leaders."""
    folder = tmp_path_factory.mktemp("vouched")
    running = NetworkServer(folder)
    redirect = f"{running.url}/oauth2callback"
    if provider is not None:
        provider.returns_to = redirect
    secrets = folder / "secrets.toml"
    secrets.write_text(
        f"""
        [auth]
        leaders = ["subject-1", "verified@cordial.test"]
        redirect_uri = "{redirect}"
        cookie_secret = "{SECRET}"
        client_id = "{CLIENT}"
        client_secret = "{CLIENT_SECRET}"
        server_metadata_url = "{provider.url if provider else "http://127.0.0.1:9"}/.well-known/openid-configuration"
        """
    )
    running.options = ("--secrets", str(secrets))
    with started(running):
        yield running


def signed(server, secret=SECRET, **user):
    """The cookie of a user whom the provider has signed in."""
    told = {"origin": server.url, "is_logged_in": True, **user}
    return {
        USER_COOKIE_NAME: create_signed_value(secret, USER_COOKIE_NAME, json.dumps(told)).decode()
    }


def leads(text):
    """Whether a page is one of the record."""
    return "demo-" in text


def at_the_door(server):
    """Who came, went or was refused, as the journal has it."""
    store = open_store(f"sqlite:///{server.record}")
    entries = [each for each in store.entries("") if each.what in (IN, OUT, REFUSED)]
    store.close()
    return [(each.what, each.why) for each in entries]


# The way to the provider and back.


def test_a_listed_leader_comes_in_by_the_provider_and_goes(vouched, vouches):
    browser, before = Browser(vouched.url), len(at_the_door(vouched))
    assert not leads(browser.page())
    browser.press(TO_PROVIDER)
    assert leads(browser.page())
    copied = browser.cookies
    browser.press("Sign out")
    assert USER_COOKIE_NAME not in browser.cookies
    assert "id_token_hint" in vouches.ended[-1]
    for cookies in (browser.cookies, copied):
        assert not leads(Drawn(vouched.url, cookies).text)
    assert at_the_door(vouched)[before:] == [(IN, "by the provider"), (OUT, "by the provider")]


def test_an_address_that_the_provider_has_not_verified_is_refused_and_noted(vouched, vouches):
    vouches.anew(sub="subject-2", email="verified@cordial.test", email_verified=False)
    browser = Browser(vouched.url)
    browser.press(TO_PROVIDER)
    page = browser.page()
    assert NOT_LISTED in page
    assert not leads(page)
    assert at_the_door(vouched)[-1] == (REFUSED, "by the provider")
    vouches.anew(sub="subject-2", email="verified@cordial.test", email_verified=True)
    browser = Browser(vouched.url)
    browser.press(TO_PROVIDER)
    assert leads(browser.page())


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("signs_with", None),
        ("refuses", "access_denied"),
        ("returns_to", "http://elsewhere.test/oauth2callback"),
        ("aud", "another client"),
        ("iss", "http://elsewhere.test"),
        ("nonce", "of another sign-in"),
        ("exp", 1_700_000_000),
    ],
)
def test_nobody_comes_in_by_what_is_not_meant_for_this_server(
    vouched, vouches, name, value, monkeypatch
):
    """Another key, a refusal, an address to return to that is not registered, and wrong claims."""
    if hasattr(vouches, name):
        monkeypatch.setattr(vouches, name, value or vouches.other_key)
    else:
        vouches.claims[name] = value
    browser, before = Browser(vouched.url), len(at_the_door(vouched))
    browser.press(TO_PROVIDER)
    assert USER_COOKIE_NAME not in browser.cookies
    assert not leads(browser.page())
    assert at_the_door(vouched)[before:] == []


def test_the_way_back_is_open_once_and_to_whom_it_was_shown(vouched, vouches):
    browser, another = Browser(vouched.url), Browser(vouched.url)
    browser.press(TO_PROVIDER)
    for comes in (browser, another):
        assert comes.get(vouches.sent_back_to) == (200, f"{vouched.url}/")
    assert leads(browser.page())
    assert USER_COOKIE_NAME not in another.cookies


# The cookie.


def test_a_listed_leader_sees_today_and_the_way_out(visitor_of, vouched):
    visitor = visitor_of(vouched)
    ((name, value),) = signed(vouched, sub="subject-1").items()
    visitor.context.add_cookies([{"name": name, "value": value, "url": vouched.url}])
    visitor.goto("")
    visitor.at("today")
    visitor.page.get_by_role("button", name="Sign out").wait_for()


@pytest.mark.parametrize(
    ("user", "comes_in"),
    [
        ({"sub": "subject-2", "email": "verified@cordial.test", "email_verified": True}, True),
        ({"sub": "subject-2", "email": "verified@cordial.test", "email_verified": False}, False),
        ({"sub": "subject-2", "email": "verified@cordial.test"}, False),
        ({"sub": "subject-2"}, False),
    ],
)
def test_others_are_told_that_they_are_not_on_the_list(vouched, user, comes_in):
    text = Drawn(vouched.url, signed(vouched, **user)).text
    assert (leads(text), NOT_LISTED in text) == (comes_in, not comes_in)


def test_a_cookie_of_another_secret_or_of_the_month_before_is_refused(vouched, monkeypatch):
    def now(signer):
        return int(time.time()) - MONTH_AND_A_DAY - 60

    guessed = signed(vouched, secret="guessed", sub="subject-1")
    monkeypatch.setattr(itsdangerous.TimestampSigner, "get_timestamp", now)
    for cookie in (guessed, signed(vouched, sub="subject-1")):
        text = Drawn(vouched.url, cookie).text
        assert TO_PROVIDER in text
        assert not leads(text)


def test_a_cookie_without_a_provider_is_worth_nothing(network):
    text = Drawn(network.url, signed(network, sub="subject-1")).text
    assert "Sign in with your passcode" in text
    assert not leads(text)
