"""`import sensory` stays light, and every public name is there."""

import subprocess
import sys

import pytest

import sensory

HEAVY = {"pandas", "pingouin", "matplotlib", "sqlalchemy", "streamlit", "altair", "openpyxl"}
LIGHT = "import sensory; sensory.TRIANGLE, sensory.choice_test"


@pytest.mark.parametrize(
    ("code", "heavy"),
    [
        (LIGHT, HEAVY | {"scipy.stats"}),
        ("import sensory; sensory.choice_test(sensory.TRIANGLE, 14, 24)", HEAVY),
    ],
)
def test_nothing_heavy_is_loaded(code, heavy):
    printed = f"{code}\nimport sys\nprint(*sorted(sys.modules))"
    done = subprocess.run([sys.executable, "-c", printed], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    loaded = set(done.stdout.split())
    assert "sensory.choices.forced_choice" in loaded
    assert not loaded & heavy


@pytest.mark.parametrize("name", sensory.__all__)
def test_public_name_resolves(name):
    assert getattr(sensory, name) is not None
    assert not name.startswith("test_")
    assert name in dir(sensory)
    assert sensory.__all__.count(name) == 1


def test_star_import_brings_every_name():
    names = {}
    exec("from sensory import *", names)
    assert set(sensory.__all__) <= set(names)
