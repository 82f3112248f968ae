"""A record of its own for each test."""

from functools import cache

import pytest
from streamlit.components.v2 import manifest_scanner

from sensory.store.repository import open_store


@pytest.fixture(scope="session", autouse=True)
def installed_packages_are_looked_through_once():
    """Streamlit does it at each start, which is each run of a page in a test."""
    with pytest.MonkeyPatch.context() as patch:
        once = cache(manifest_scanner.scan_component_manifests)
        patch.setattr(manifest_scanner, "scan_component_manifests", once)
        yield


@pytest.fixture
def url(tmp_path):
    return f"sqlite:///{tmp_path / 'record.sqlite3'}"


@pytest.fixture
def store(url):
    opened = open_store(url)
    yield opened
    opened.close()


class Clock:
    now = 1_790_000_000.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock():
    return Clock()
