"""What the simulations of this folder print; excluded from the normal run.

Run with: python -m pytest -q -s --override-ini addopts= --import-mode=importlib tests/calibration
"""

import pytest


@pytest.fixture
def show(capsys):
    def _show(*lines):
        with capsys.disabled():
            print("\n" + "\n".join(lines))

    return _show
