"""A server with a record of its own, and a Chromium, for each test that asks."""

from __future__ import annotations

from pathlib import Path

import pytest

from sensory.store.repository import open_store

from .servers import NetworkServer, Server, needed, started
from .visitor import Contexts, Visitor
from .wire import Wire

# Chromium's own build without a window takes a fifth less of a processor; else the whole of it.
SHELL, CHROMIUM = Path("/usr/bin/chromium-headless-shell"), Path("/usr/bin/chromium")
# What Chromium needs as root and without a network; see its own --help.
OPTIONS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]


def pytest_collection_modifyitems(items):
    for item in items:
        if Path(item.fspath).is_relative_to(Path(__file__).parent):
            item.add_marker(pytest.mark.browser)


@pytest.fixture(scope="module")
def network(tmp_path_factory):
    with started(NetworkServer(tmp_path_factory.mktemp("network"))) as running:
        yield running


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    with started(Server(tmp_path_factory.mktemp("server"))) as running:
        yield running


@pytest.fixture
def store(server):
    record = open_store(f"sqlite:///{server.record}")
    yield record
    record.close()


@pytest.fixture
def wire(network):
    laid = Wire(network.port)
    yield laid
    laid.cut()


@pytest.fixture
def record(network):
    opened = open_store(f"sqlite:///{network.record}")
    yield opened
    opened.close()


@pytest.fixture(scope="session")
def chromium():
    path = SHELL if SHELL.exists() else CHROMIUM
    needed(str(path), "chromium")
    from playwright.sync_api import expect, sync_playwright

    expect.set_options(timeout=30_000)  # a busy machine draws a page in more than five seconds
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=OPTIONS)
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def contexts(chromium):
    kept = Contexts(chromium)
    yield kept
    kept.close()


@pytest.fixture
def visitor_of(contexts):
    visitors = []

    def _visitor_of(server, **options) -> Visitor:
        visitors.append(Visitor(contexts, server, **options))
        return visitors[-1]

    yield _visitor_of
    for visitor in visitors:
        visitor.leave()


@pytest.fixture
def visit(visitor_of, server):
    return lambda **options: visitor_of(server, **options)
