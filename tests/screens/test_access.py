"""Who asks, which pages follow, and what a provider has to say."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from sensory.base.errors import ArgumentError
from sensory.screens.access import Booth, Leader, Stranger, who_asks
from sensory.screens.command import parsed
from sensory.screens.network import access_file, has_provider, options, serve_network
from sensory.screens.passcode import COOKIE, Keeper
from sensory.screens.provider import on_list
from sensory.screens.server import settings
from sensory.sessions.signing import PASSCODE, PROVIDER, TYPED, Person, Right
from sensory.sessions.staff import active_people, enter_person, managers
from sensory.store.repository import open_store

ROOT = Path(__file__).parents[2]
NORA = "a" * 32
SERIES = f"s-{NORA}.{NORA}"


@pytest.fixture(scope="module")
def keeper(tmp_path_factory):
    path = tmp_path_factory.mktemp("access") / "record.access.json"
    keeper = Keeper(path)
    keeper.set_passcode(NORA, "plum cordial", given=False)
    return keeper


def test_without_the_network_mode_nobody_leads_but_on_this_machine():
    assert who_asks({}, {}, keeper=None, address="127.0.0.1") == Leader()
    assert (Leader().signed_in, Leader().how) == (False, TYPED)
    for address in ("0.0.0.0", "::", "192.168.0.7", "plant", "", None):
        assert who_asks({}, {}, keeper=None, address=address) == Stranger(can_sign_in=False)


def test_in_the_network_only_a_cookie_makes_a_leader(keeper):
    def ask(cookies):
        return who_asks({}, cookies, keeper=keeper, address="127.0.0.1")

    assert ask({}) == Stranger()
    assert ask({COOKIE: "1.2.3"}) == Stranger()
    assert ask({"other": keeper.cookie(NORA)}) == Stranger()
    leader = ask({COOKIE: keeper.cookie(NORA)})
    assert leader == Leader(person=NORA)
    assert (leader.signed_in, leader.how) == (True, PASSCODE)


def test_name_on_the_list_makes_a_leader(keeper):
    leader = who_asks({}, {}, keeper=keeper, address="0.0.0.0", listed="p@cordial.test")
    assert leader == Leader(listed="p@cordial.test")
    assert (leader.signed_in, leader.how) == (True, PROVIDER)
    keeper.link(NORA, "p@cordial.test")
    leader = who_asks({}, {}, keeper=keeper, address="0.0.0.0", listed="p@cordial.test")
    assert leader == Leader(person=NORA, listed="p@cordial.test")


def test_link_of_a_booth_is_never_more_than_a_booth(keeper):
    cookies = {COOKIE: keeper.cookie(NORA)}
    for token in ("plum", ""):
        for given in (None, keeper):
            asked = who_asks({"booth": token}, cookies, keeper=given, address="127.0.0.1")
            assert asked == Booth(token=token)


IN = {"is_logged_in": True}


@pytest.mark.parametrize(
    ("user", "name"),
    [
        (IN | {"sub": "s-1"}, "s-1"),
        (IN | {"sub": "x", "email": "p@c.test", "email_verified": True}, "p@c.test"),
        (IN | {"sub": "x", "email": "p@c.test"}, None),
        (IN | {"email": "p@c.test", "email_verified": False}, None),
        (IN | {"email": "p@c.test", "email_verified": "false"}, None),
        (IN | {"sub": "S-1"}, None),
        (IN | {"name": "s-1"}, None),
        ({"is_logged_in": False, "sub": "s-1"}, None),
        ({"is_logged_in": "True", "sub": "s-1"}, None),
        ({"sub": "s-1"}, None),
        ({}, None),
    ],
)
def test_list_holds_subjects_and_verified_addresses(user, name):
    assert on_list(user, ["s-1", "p@c.test"]) == name


def test_provider_counts_only_with_a_list(tmp_path):
    secrets = tmp_path / "secrets.toml"
    assert not has_provider(secrets)
    secrets.write_text('[auth]\nclient_id = "x"\n')
    assert not has_provider(secrets)
    secrets.write_text('[auth]\nleaders = ["s-1"]\n')
    assert has_provider(secrets)


def network_options(*words: str) -> dict:
    return options(parsed(["network", *words]), Path("secrets.toml"))


def test_settings_of_the_network_keep_those_of_the_file():
    given = settings(network_options("--port", "8600", "--name", "plant"))
    assert given["server.address"] == "0.0.0.0"
    assert given["browser.serverAddress"] == "plant"
    assert given["server.port"] == 8600
    assert given["server.allowedHosts"] == []  # which are for one machine
    assert given["runner.postScriptGC"] is False
    assert given["browser.gatherUsageStats"] is False
    assert given["theme.light.primaryColor"] == "#0072B2"
    assert "server.sslCertFile" not in given


def test_certificate_and_key_go_together(capsys, tmp_path):
    certificate, key = (str(tmp_path / name) for name in ("c.pem", "k.pem"))
    for path in (certificate, key):
        Path(path).touch()
    given = settings(network_options("--certificate", certificate, "--key", key))
    assert (given["server.sslCertFile"], given["server.sslKeyFile"]) == (certificate, key)
    with pytest.raises(SystemExit):
        parsed(["network", "--key", key])
    assert "--certificate and --key go together" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("url", "path"),
    [
        ("sqlite:///record.sqlite3", "record.access.json"),
        ("sqlite+pysqlite:////srv/a.db?mode=rw", "/srv/a.access.json"),
        ("sqlite:///:memory:", "/home/record.access.json"),
        ("sqlite://", "/home/record.access.json"),
        ("postgresql+psycopg://u:p@plant/panel", "/home/record.access.json"),
    ],
)
def test_access_file_stands_beside_the_record(url, path):
    assert access_file(url, Path("/home")) == Path(path)


def fresh(code: str, **environment: str) -> subprocess.CompletedProcess:
    return subprocess.run(
        [sys.executable, "-c", code],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT), **environment},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=120,
    )


def test_booths_and_stranger_load_no_statistics():
    """Of a session and of a series, answers judged too; scipy itself is there, nothing of it."""
    heavy = [
        "scipy.special",
        "scipy.linalg",
        "scipy.optimize",
        "scipy.stats",
        "pandas",
        "pingouin",
        "altair",
        "openpyxl",
        "typst",
    ]
    heavy += ["sensory.sessions.workflow", "sensory.screens.sessions", "sensory.screens.finding"]
    done = fresh(
        "import sys\n"
        "from sensory.screens.app import pages_of\n"
        "from sensory.screens.access import Booth, Stranger\n"
        f"pages_of(Booth(token='plum')), pages_of(Booth(token={SERIES!r})), pages_of(Stranger())\n"
        "from sensory.panel.screening_rules import choice_rule\n"
        "assert choice_rule().decide([True] * 7).verdict == 'pass'\n"
        "assert 'sensory.screens.series_booth' in sys.modules\n"
        f"print([name for name in {heavy} if name in sys.modules])"
    )
    assert done.stdout.strip().splitlines()[-1] == "[]", done.stderr


@pytest.mark.parametrize(
    ("environment", "said"),
    [({}, "nobody to ask"), ({"SENSORY_PASSCODE": "short"}, "8 to 200 characters; got 5")],
)
def test_network_does_not_start_without_a_passcode(tmp_path, environment, said):
    url = f"sqlite:///{tmp_path}/record.sqlite3"
    done = fresh(
        "from sensory.screens.command import main; main(['network', '--port', '1'])",
        SENSORY_RECORD=url,
        **environment,
    )
    assert done.returncode == 1
    assert said in done.stderr
    assert not list(tmp_path.iterdir())


@pytest.fixture
def started(tmp_path, monkeypatch):
    """Start the network mode as often as wanted; what it would serve, its record and its file."""
    url, served = f"sqlite:///{tmp_path}/record.sqlite3", []
    monkeypatch.setenv("SENSORY_RECORD", url)
    monkeypatch.setattr("sensory.screens.network.serve", lambda *_, **given: served.append(given))
    monkeypatch.setattr("sensory.screens.network.serve_others", served.append)

    def start(*words: str, **environment: str) -> Keeper:
        for name in ("SENSORY_NAME", "SENSORY_PASSCODE"):
            monkeypatch.delenv(name, raising=False)
        for name, text in environment.items():
            monkeypatch.setenv(name, text)
        serve_network(parsed(["network", *words]))
        return Keeper(tmp_path / "record.access.json")

    start.store = open_store(url)
    yield start
    start.store.close()


def test_first_account_manages_people_and_agrees_questions(started):
    keeper = started(SENSORY_NAME="Mira  Lund", SENSORY_PASSCODE="plum cordial")
    (mira,) = active_people(started.store)
    assert (mira.name, mira.may) == ("Mira Lund", (Right.AGREE, Right.MANAGE))
    assert keeper.right(mira.key, "plum cordial")
    assert not keeper.given(mira.key)
    assert "plum cordial" not in str(started.store.entries(""))
    assert started() is not None  # and the next start asks for nothing
    assert active_people(started.store) == [mira]


def test_passcode_of_the_one_leader_goes_on_as_an_office_that_signs_nothing(started, tmp_path):
    from argon2 import PasswordHasher

    path = tmp_path / "record.access.json"
    hashed = PasswordHasher().hash("plum cordial")
    path.write_text(f'{{"passcode": "{hashed}", "key": "{"0f" * 32}", "withdrawn": {{}}}}')
    path.chmod(0o600)
    keeper = started()
    (office,) = active_people(started.store)
    assert (office.name, office.may) == ("administrator", (Right.MANAGE,))
    assert keeper.right(office.key, "plum cordial")


def test_new_passcode_is_that_of_who_manages_people(started):
    started(SENSORY_NAME="Mira Lund", SENSORY_PASSCODE="plum cordial")
    keeper = started("--new-passcode", SENSORY_PASSCODE="quince cordial")
    (mira,) = active_people(started.store)
    assert keeper.right(mira.key, "quince cordial")
    assert not keeper.right(mira.key, "plum cordial")


def test_people_who_were_typed_before_get_somebody_who_manages_them(started):
    nora = Person(name="Nora Sand", roles=("release officer",), may=(Right.DECIDE,))
    enter_person(started.store, nora, who="Nora Sand")
    started(SENSORY_NAME="nora sand", SENSORY_PASSCODE="plum cordial")
    (nora,) = active_people(started.store)
    assert nora.may == (Right.DECIDE, Right.MANAGE)


def test_nobody_left_who_can_manage_people_asks_for_a_first_account_again(started):
    keeper = started(SENSORY_NAME="Mira Lund", SENSORY_PASSCODE="plum cordial")
    (mira,) = active_people(started.store)
    keeper.drop(mira.key)
    with pytest.raises(ArgumentError, match="nobody to ask"):
        started()
    keeper = started(SENSORY_NAME="Otto Brandt", SENSORY_PASSCODE="sloe cordial")
    able = managers(started.store.people(), keeper.able())
    assert [person.name for person in able] == ["Otto Brandt"]
