"""Leaders by a provider: whose cookie it is, what is noted, what is theirs, and when it ends.

The cookie is signed by Streamlit's own function, as its route does after the way to the provider
and back.
"""

from __future__ import annotations

import json
from types import SimpleNamespace

import pytest
from starlette.applications import Starlette
from starlette.responses import RedirectResponse
from starlette.routing import Route
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ClientState_pb2 import ClientState
from streamlit.web.server.starlette import starlette_websocket
from streamlit.web.server.starlette.starlette_app_utils import create_signed_value
from streamlit.web.server.starlette.starlette_server_config import USER_COOKIE_NAME

from sensory.screens import provider
from sensory.screens.leaders import Leaders
from sensory.screens.passcode import Keeper
from sensory.screens.sign_in import ProviderDoors
from sensory.sessions.signing import Person

from .asgi import OURS, ask, connect, guarded

SECRET = "a secret of the test, long enough"
NORA = "a" * 32
FILE = f"/media/{'7f' * 28}.pdf"


def cookie_of(subject: str, secret: str = SECRET) -> str:
    user = {"origin": OURS, "is_logged_in": True, "sub": subject}
    return create_signed_value(secret, USER_COOKIE_NAME, json.dumps(user)).decode()


@pytest.fixture
def plant(tmp_path, monkeypatch):
    """Two names on the list, of whom one is on record."""
    monkeypatch.setattr(starlette_websocket, "get_cookie_secret", lambda: SECRET)
    monkeypatch.setattr(provider, "_WITHDRAWN", set())
    keeper = Keeper(tmp_path / "record.access.json")
    keeper.link(NORA, "subject-1")
    people = [Person(name="Nora Sand", roles=("QA",), key=NORA)]
    leaders = Leaders(keeper, lambda: people, lambda: {"subject-1", "subject-2"})
    return SimpleNamespace(
        leaders=leaders, people=people, noted=[], app=guarded(leaders, seconds=0.01)
    )


def headers(subject: str, **given: str) -> dict[str, str]:
    return {"cookie": f"{USER_COOKIE_NAME}={cookie_of(subject, **given)}"}


def test_a_file_is_for_the_listed_leader_to_whom_its_address_was_sent(plant):
    connect(plant.app, said=[FILE.encode()], origin=OURS, **headers("subject-1"))
    connect(plant.app, said=[FILE.encode()], origin=OURS, **headers("subject-3"))
    assert ask(plant.app, FILE, **headers("subject-1")).status == 200
    for other in (headers("subject-2"), headers("subject-3"), headers("subject-1", secret="x"), {}):
        assert ask(plant.app, FILE, **other).status == 404


def test_a_window_ends_when_its_person_no_longer_signs(plant):
    def put_out():
        plant.people[0] = Person(name="Nora Sand", roles=("QA",), key=NORA, active=False)

    came = connect(plant.app, then=put_out, until=3, origin=OURS, **headers("subject-1"))
    assert BackMsg.FromString(came[2]).rerun_script == ClientState()


def doors(plant, subject: str = ""):
    """The routes of Streamlit, behind the doors that are watched."""

    async def callback(request):
        answer = RedirectResponse("/")
        if subject:
            answer.set_cookie(USER_COOKIE_NAME, cookie_of(subject), httponly=True)
        return answer

    async def logout(request):
        return RedirectResponse("/")

    app = Starlette(routes=[Route("/oauth2callback", callback), Route("/auth/logout", logout)])
    return ProviderDoors(app, leaders=plant.leaders, note=lambda *entry: plant.noted.append(entry))


@pytest.mark.parametrize(
    ("subject", "noted"),
    [
        ("subject-1", [("signed in", NORA, "by the provider")]),
        ("subject-2", [("signed in", "", "by the provider")]),
        ("subject-3", [("sign-in refused", "", "by the provider")]),
        ("", []),
    ],
)
def test_who_comes_in_or_is_refused_is_noted(plant, subject, noted):
    assert ask(doors(plant, subject), "/oauth2callback").status == 307
    assert plant.noted == noted


def test_who_goes_is_noted_and_every_copy_of_the_cookie_is_worth_nothing(plant):
    cookie = headers("subject-1")

    def sign_out():
        ask(doors(plant), "/auth/logout", **cookie)

    came = connect(plant.app, then=sign_out, until=3, origin=OURS, **cookie)
    assert BackMsg.FromString(came[2]).rerun_script == ClientState()
    assert plant.noted == [("signed out", NORA, "by the provider")]
    connect(plant.app, said=[FILE.encode()], origin=OURS, **cookie)
    assert ask(plant.app, FILE, **cookie).status == 404
    sign_out()
    assert len(plant.noted) == 1
