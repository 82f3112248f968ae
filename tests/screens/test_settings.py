"""The settings that decide whether many visitors can work, and that nothing leaves the machine."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
OPTIONS = {
    "server.address": "127.0.0.1",
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


def test_program_without_its_worker_guard_would_run_twice():
    text = (ROOT / "app.py").read_text()
    assert text.rstrip().endswith("main()")
    assert 'if __name__ == "__main__":' in text
