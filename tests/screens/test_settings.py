"""The settings that decide whether many visitors can work, and that nothing leaves the machine,
hold however the program is started."""

from __future__ import annotations

import os
import subprocess
import sys
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[2]
OPTIONS = {
    "server.address": "127.0.0.1",
    "server.allowedHosts": "['localhost', '127.0.0.1', '::1']",
    "browser.serverAddress": "127.0.0.1",
    "browser.gatherUsageStats": "False",
    "runner.postScriptGC": "False",
    "server.maxUploadSize": "20",
    "server.disconnectedSessionTTL": "3600",
    "server.enableXsrfProtection": "True",
    "server.enableCORS": "True",
}


def test_options_are_in_force_when_started_from_the_project():
    program = (
        "from streamlit import config\n"
        "config.get_config_options()\n"
        f"for name in {list(OPTIONS)!r}: print(name, config.get_option(name))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert dict(line.split(" ", 1) for line in done.stdout.splitlines()) == OPTIONS


HOSTILE = """
[server]
address = "0.0.0.0"
baseUrlPath = "elsewhere"
enableCORS = false
enableXsrfProtection = false
maxUploadSize = 4000
[browser]
gatherUsageStats = true
[runner]
postScriptGC = true
[theme.light]
primaryColor = "#ff0000"
"""


def options_of_the_file() -> dict[str, str]:
    with (ROOT / ".streamlit" / "config.toml").open("rb") as file:
        tree = tomllib.load(file)
    found = {}
    for section, values in tree.items():
        for name, value in values.items():
            inner = value if isinstance(value, dict) else {"": value}
            found |= {f"{section}.{name}.{key}".rstrip("."): str(v) for key, v in inner.items()}
    return found


def test_command_passes_on_what_the_file_says_from_any_folder(tmp_path):
    """Asked when the server would begin to listen, in a folder with settings of its own."""
    (tmp_path / ".streamlit").mkdir()
    (tmp_path / ".streamlit" / "config.toml").write_text(HOSTILE)
    expected = OPTIONS | options_of_the_file() | {"server.port": "8600", "server.baseUrlPath": ""}
    assert len(expected) > len(OPTIONS)
    program = (
        "from streamlit import config\n"
        "from streamlit.web.server.starlette.starlette_server import UvicornRunner\n"
        "from sensory.screens.command import main\n"
        "def listen(runner):\n"
        f"    for name in {list(expected)!r}: print(name, config.get_option(name), sep='=')\n"
        "UvicornRunner.run = listen\n"
        "main(['--port', '8600'])\n"
    )
    record = tmp_path / "record.sqlite3"
    environment = {"PYTHONPATH": str(ROOT), "SENSORY_RECORD": f"sqlite:///{record}"}
    done = subprocess.run(
        [sys.executable, "-c", program],
        cwd=tmp_path,
        env=os.environ | environment,
        capture_output=True,
        text=True,
        check=True,
    )
    hello, place, *lines = done.stdout.splitlines()
    assert "http://127.0.0.1:8600" in hello
    assert place.endswith(str(record))
    assert dict(line.split("=", 1) for line in lines) == expected


def test_program_without_its_worker_guard_would_run_twice():
    text = (ROOT / "sensory/screens/script.py").read_text()
    assert text.rstrip().endswith("main()")
    assert 'if __name__ == "__main__":' in text
