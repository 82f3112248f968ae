"""Set before numpy is loaded: on small problems threads of the linear algebra only get in the way,
of each other and of the other test processes. Compiled files are kept where they were not, since
each server that a test starts would compile all of them again (1.3 s of a core)."""

import gc
import os
import sys
from contextlib import ExitStack, closing

import pytest

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(name, "1")
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False


LONGEST = ("tests/browser/", "tests/test_installed", "tests/test_demo_year", "tests/store/")


def pytest_configure(config):
    """Files are handed out in the order below, where several processes take them."""
    if hasattr(config.option, "loadscopereorder"):
        config.option.loadscopereorder = False


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items):
    """The files that take longest begin, so that no process is left waiting for one at the end."""
    items.sort(key=lambda item: not item.nodeid.startswith(LONGEST))


def pytest_collection_finish():
    """What was imported is never thrown away, so no garbage is sought in it again: with it each
    search took a tenth of a second, a tenth of the time of tests that run pages."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(10_000, 20, 20)


@pytest.fixture(scope="session", autouse=True)
def steps_of_a_new_record_are_worked_out_once():
    """Most tests begin with an empty record; writing the same statements again is far quicker."""
    from sqlalchemy import event

    from sensory.store import versions

    kept, upgrade = [], versions._upgrade

    def note(connection, cursor, statement, parameters, context, executemany):
        if not statement.startswith(("SELECT", "PRAGMA")):
            kept.append((statement, parameters))

    def _upgrade(connection, version):
        if version or connection.dialect.name != "sqlite":
            upgrade(connection, version)
        elif kept:
            for statement, parameters in kept:
                connection.exec_driver_sql(statement, parameters)
        else:
            event.listen(connection, "before_cursor_execute", note)
            try:
                upgrade(connection, version)
            except BaseException:
                kept.clear()
                raise
            finally:
                event.remove(connection, "before_cursor_execute", note)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(versions, "_upgrade", _upgrade)
        yield


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
