"""The booth page before links that are none: one sentence, no page of the leader."""

from __future__ import annotations

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from .test_pages import words

ROOT = Path(__file__).parents[2]
STRANGE = {
    "empty": "",
    "unicode": "Pflaume \N{SNOWMAN} \u202e",
    "markup": "<script>alert(1)</script> **bold** ![x](http://127.0.0.1:9/x.png)",
    "path": "../../../../etc/passwd",
    "query": "' or '1'='1' --",
    "NUL": "\0" * 65,
    "very long": "a" * 100_000,
    "unknown": f"{'0' * 32}.{'a' * 32}",
}


@pytest.mark.parametrize("token", STRANGE.values(), ids=STRANGE)
def test_what_is_no_link_gets_one_sentence(token, tmp_path, monkeypatch):
    monkeypatch.setenv("SENSORY_RECORD", f"sqlite:///{tmp_path / 'record.sqlite3'}")
    app = AppTest.from_file(str(ROOT / "app.py"), default_timeout=30)
    app.query_params["booth"] = token
    app.run()
    assert not app.exception
    assert [one.value for one in app.title] == ["This link is not valid, or no longer."]
    assert not token or token not in words(app)
    assert not [*app.button, *app.text_input, *app.error]
    assert sorted(path.name for path in tmp_path.iterdir() if "record" not in path.name) == []
