"""The record that most tests of this folder begin with."""

from __future__ import annotations

import pytest

from .shared import ONE, with_product


@pytest.fixture
def store(opens):
    """A product with a rule by triangles, sound at the end."""
    opened = with_product(opens(), ONE)
    yield opened
    assert opened.verify() == []
