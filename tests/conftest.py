"""Set before numpy is loaded: on small problems threads of the linear algebra only get in the way,
of each other and of the other test processes."""

import os
from contextlib import ExitStack, closing

import pytest

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(name, "1")


@pytest.fixture
def opens():
    """Opens the record at an address, in memory if none is given, and closes it afterwards."""
    from sensory.store.repository import open_store

    with ExitStack() as stack:
        yield lambda url="sqlite://": stack.enter_context(closing(open_store(url)))


@pytest.fixture
def store(opens, tmp_path):
    """An empty record in a file."""
    return opens(f"sqlite:///{tmp_path / 'r.sqlite3'}")
