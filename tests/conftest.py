"""Known faults are expected to fail: who mends one takes its line away."""

from __future__ import annotations

from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
KNOWN = {
    line
    for line in (ROOT / "tests/references/known_faults.txt").read_text().splitlines()
    if line and not line.startswith("#")
}


def pytest_collection_modifyitems(items):
    for item in items:
        if item.nodeid in KNOWN:
            item.add_marker(pytest.mark.xfail(strict=False, reason="known fault, not mended yet"))
