"""`import sensory` stays light, and every public name is there."""

import subprocess
import sys

import pytest

import sensory

HEAVY = ("pandas", "pingouin", "matplotlib", "streamlit", "sqlalchemy")


def modules_after(code):
    printed = f"{code}\nimport sys\nprint(*sorted(sys.modules))"
    done = subprocess.run([sys.executable, "-c", printed], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return set(done.stdout.split())


def test_import_loads_nothing_heavy():
    loaded = modules_after("import sensory")
    assert "sensory" in loaded
    assert not loaded.intersection(HEAVY)


def test_a_forced_choice_test_loads_nothing_heavy():
    loaded = modules_after("import sensory; sensory.choice_test(sensory.TRIANGLE, 14, 24)")
    assert "sensory.choices.forced_choice" in loaded
    assert not loaded.intersection(HEAVY)


@pytest.mark.parametrize("name", sensory.__all__)
def test_public_name_resolves(name):
    assert getattr(sensory, name) is not None
    assert not name.startswith("test_")
    assert name in dir(sensory)


def test_public_names_occur_once():
    assert len(set(sensory.__all__)) == len(sensory.__all__)


def test_unknown_name():
    with pytest.raises(AttributeError, match="has no attribute 'tetrahedron'"):
        sensory.tetrahedron  # noqa: B018


def test_star_import_brings_every_name():
    names = {}
    exec("from sensory import *", names)
    assert set(sensory.__all__) <= set(names)
