"""A record of its own for each test."""

import pytest

from sensory.store.repository import open_store


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
