"""Who asks, which pages follow, and what a provider has to say."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from sensory.screens.access import Booth, Leader, Stranger, who_asks
from sensory.screens.command import parsed
from sensory.screens.network import access_file, has_provider, options
from sensory.screens.passcode import COOKIE, Keeper, set_passcode
from sensory.screens.provider import on_list
from sensory.screens.server import settings

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def keeper(tmp_path_factory):
    path = tmp_path_factory.mktemp("access") / "record.access.json"
    set_passcode(path, "plum cordial")
    return Keeper(path)


def test_without_the_network_mode_nobody_leads_but_on_this_machine():
    assert who_asks({}, {}, keeper=None, address="127.0.0.1") == Leader()
    for address in ("0.0.0.0", "::", "192.168.0.7", "plant", "", None):
        assert who_asks({}, {}, keeper=None, address=address) == Stranger(can_sign_in=False)


def test_in_the_network_only_a_cookie_makes_a_leader(keeper):
    def ask(cookies):
        return who_asks({}, cookies, keeper=keeper, address="127.0.0.1")

    assert ask({}) == Stranger()
    assert ask({COOKIE: "1.2.3"}) == Stranger()
    assert ask({"other": keeper.cookie()}) == Stranger()
    leader = ask({COOKIE: keeper.cookie()})
    assert leader == Leader(how="signed in with the passcode", signed_in=True)


def test_name_on_the_list_makes_a_leader(keeper):
    leader = who_asks({}, {}, keeper=keeper, address="0.0.0.0", listed="p@cordial.test")
    assert leader == Leader(how="signed in as p@cordial.test", signed_in=True)


def test_link_of_a_booth_is_never_more_than_a_booth(keeper):
    cookies = {COOKIE: keeper.cookie()}
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


def test_booth_and_stranger_load_no_statistics():
    # scipy.special comes with the protocols, which hold their links
    heavy = ["pandas", "pingouin", "altair", "openpyxl", "typst"]
    heavy += ["sensory.sessions.workflow", "sensory.screens.sessions", "sensory.screens.finding"]
    done = fresh(
        "import sys\n"
        "from sensory.screens.app import pages_of\n"
        "from sensory.screens.access import Booth, Stranger\n"
        "pages_of(Booth(token='plum')), pages_of(Stranger())\n"
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
