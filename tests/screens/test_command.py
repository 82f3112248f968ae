"""The command line: what it understands, and what stands against it in one sentence."""

from __future__ import annotations

import socket
import sys
from pathlib import Path

import pytest

from sensory.base.errors import ArgumentError
from sensory.base.version import __version__
from sensory.screens.command import main, parsed
from sensory.screens.guard import OwnMachine
from sensory.screens.network import has_provider
from sensory.screens.places import data_folder, kept_in, record_url, secrets_file
from sensory.store.repository import open_store

ROOT = Path(__file__).parents[2]


@pytest.fixture
def no_server(monkeypatch):
    """A server that would start is a failure."""
    monkeypatch.setattr("streamlit.App.run", lambda *_, **__: pytest.fail("it was started"))


@pytest.mark.parametrize(
    ("words", "port"),
    [
        ([], 8501),
        (["--port", "8600"], 8600),
        (["network"], 8501),
        (["network", "--port", "8700"], 8700),
        (["--port", "8600", "network"], 8600),
        (["--port", "8600", "network", "--port", "8700"], 8700),
    ],
)
def test_port_counts_before_and_after_the_command(words, port):
    assert parsed(words).port == port


@pytest.mark.parametrize(
    ("words", "fragment"),
    [
        (["--port", "plum"], "from 1 to 65535, not 'plum'"),
        (["--port", "0"], "from 1 to 65535"),
        (["--port", "65536"], "from 1 to 65535"),
        (["network", "--key", "nowhere.pem"], "no file nowhere.pem"),
        (["network", "--secrets", "nowhere.toml"], "no file nowhere.toml"),
        (["cordial"], "'network', 'demo-year'"),
        (["demo-year"], "required: FILE"),
    ],
)
def test_words_that_are_not_understood(words, fragment, capsys):
    with pytest.raises(SystemExit) as ended:
        parsed(words)
    assert ended.value.code == 2
    assert fragment in capsys.readouterr().err


@pytest.mark.parametrize("words", [["--help"], ["network", "--help"], ["demo-year", "--help"]])
def test_help_names_the_options(words, capsys):
    with pytest.raises(SystemExit) as ended:
        parsed(words)
    assert ended.value.code == 0
    shown = capsys.readouterr().out
    named = {"network": "--new-passcode", "demo-year": "FILE"}.get(words[0], "SENSORY_RECORD")
    assert named in shown


def test_version_is_that_of_the_package(capsys):
    with pytest.raises(SystemExit):
        parsed(["--version"])
    assert capsys.readouterr().out == f"sensory {__version__}\n"


def test_one_machine_is_guarded(tmp_path, monkeypatch):
    monkeypatch.setenv("SENSORY_RECORD", f"sqlite:///{tmp_path / 'record.sqlite3'}")
    monkeypatch.setattr("sensory.screens.server.check_free", lambda address, port: None)
    guarded = []
    monkeypatch.setattr("streamlit.App.run", lambda app, **_: guarded.extend(app._user_middleware))
    main([])
    assert [middleware.cls for middleware in guarded] == [OwnMachine]


@pytest.mark.parametrize("words", [[], ["network", "--address", "127.0.0.1"]])
def test_taken_port_is_one_sentence_and_makes_no_record(words, tmp_path, monkeypatch, no_server):
    record = tmp_path / "record.sqlite3"
    monkeypatch.setenv("SENSORY_RECORD", f"sqlite:///{record}")
    monkeypatch.setenv("SENSORY_PASSCODE", "plum cordial")
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        with pytest.raises(SystemExit, match=f"^sensory: Port {port} is taken"):
            main([*words, "--port", str(port)])
    assert not record.exists()


def test_address_of_another_machine_is_refused(tmp_path, monkeypatch, no_server):
    monkeypatch.setenv("SENSORY_RECORD", f"sqlite:///{tmp_path / 'record.sqlite3'}")
    monkeypatch.setenv("SENSORY_PASSCODE", "plum cordial")
    with pytest.raises(SystemExit, match=r"cannot listen on 192\.0\.2\.7, port 8501"):
        main(["network", "--address", "192.0.2.7"])


@pytest.mark.parametrize("words", [[], ["network"]])
def test_folder_that_cannot_be_written_is_named(words, tmp_path, monkeypatch, no_server):
    """A file in the place of the folder stops root as well, whom no permission stops."""
    (tmp_path / "panel").touch()
    monkeypatch.setenv("SENSORY_RECORD", f"sqlite:///{tmp_path / 'panel' / 'record.sqlite3'}")
    monkeypatch.setenv("SENSORY_PASSCODE", "plum cordial")
    monkeypatch.setattr("sensory.screens.server.check_free", lambda address, port: None)
    with pytest.raises(SystemExit) as ended:
        main(words)
    assert str(tmp_path / "panel") in ended.value.code
    assert "SENSORY_RECORD" in ended.value.code
    assert "\n" not in ended.value.code


def test_missing_library_says_how_to_get_it(monkeypatch):
    monkeypatch.setitem(sys.modules, "streamlit", None)
    monkeypatch.delitem(sys.modules, "sensory.screens.server", raising=False)
    with pytest.raises(SystemExit, match=r"needs streamlit.*pip install 'sensory\[app\]'"):
        main([])


def test_year_goes_into_no_file_of_another_kind(tmp_path):
    letter = tmp_path / "letter.txt"
    letter.write_text("Dear panel")
    with pytest.raises(SystemExit, match=r"letter\.txt: .*not a database"):
        main(["demo-year", str(letter)])
    assert letter.read_text() == "Dear panel"


def test_path_with_a_question_mark_is_refused(tmp_path):
    with pytest.raises(SystemExit, match=r"question mark; got .*what\?\.sqlite3"):
        main(["demo-year", str(tmp_path / "what?.sqlite3")])
    assert not list(tmp_path.iterdir())


def test_secrets_that_cannot_be_read_are_named(tmp_path):
    secrets = tmp_path / "secrets.toml"
    secrets.write_text("[auth")
    with pytest.raises(ArgumentError, match=r"secrets\.toml cannot be read"):
        has_provider(secrets)


def test_record_of_a_checkout_lies_beside_the_program(monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("SENSORY_RECORD", raising=False)
    assert record_url() == f"sqlite:///{ROOT / '.data' / 'record.sqlite3'}"
    assert secrets_file() == ROOT / ".streamlit" / "secrets.toml"
    assert data_folder() == ROOT / ".data"


def test_record_lies_where_the_environment_says(monkeypatch):
    monkeypatch.setenv("SENSORY_RECORD", "postgresql://plant/panel")
    assert record_url() == "postgresql://plant/panel"


@pytest.mark.parametrize(
    ("url", "place"),
    [
        ("sqlite:////srv/a.db?mode=rw", "/srv/a.db"),
        ("sqlite:///:memory:", "memory"),
        ("postgresql://plant/panel", "postgresql://plant/panel"),
        ("postgresql+psycopg://u:p@ss/w@plant:5/panel?password=p", "postgresql+psycopg://plant:5/"),
    ],
)
def test_place_is_shown_without_password(url, place):
    assert kept_in(url).startswith(place)
    assert "p@ss" not in kept_in(url)
    assert "password" not in kept_in(url)


def test_place_of_a_relative_path_is_where_the_store_puts_it(monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    open_store("sqlite:///panel/record.sqlite3").close()
    assert Path(kept_in("sqlite:///panel/record.sqlite3")).is_file()
