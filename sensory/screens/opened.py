"""The leader's pages, each imported when it is opened first; what is left, once one is drawn.

Why so
------
Importing every page before one is drawn took most of the 5.8 s of the first page after a start.
A thread imports the others after that, so that nobody waits for them later either.
"""

from __future__ import annotations

from collections.abc import Callable
from threading import Event

DRAWN = Event()
"""Set when a page of a leader was drawn; nothing else is imported before."""


def _sessions() -> None:
    from .sessions import page

    page()


def _plan() -> None:
    from .plan import page

    page()


def _question() -> None:
    from .question import page

    page()


def _serve() -> None:
    from .serve import page

    page()


def _ballots() -> None:
    from .ballots import page

    page()


def _finding() -> None:
    from .finding import page

    page()


def _batches() -> None:
    from .batches import page

    page()


def _batch() -> None:
    from .batch import page

    page()


def _trend() -> None:
    from .trend import page

    page()


def _product() -> None:
    from .product import page

    page()


def _people() -> None:
    from .people import page

    page()


PAGES: dict[str, Callable[[], None]] = {
    page.__name__.lstrip("_"): page
    for page in (
        *(_sessions, _plan, _question, _serve, _ballots, _finding),
        *(_batches, _batch, _trend, _product, _people),
    )
}
"""What draws a page, by its name, in the order of the menu."""


def import_the_rest() -> None:
    """Wait for a leader's first page, then import all others; for a thread of the server."""
    DRAWN.wait()
    from . import (  # noqa: F401
        ballots,
        batch,
        batches,
        finding,
        people,
        plan,
        product,
        question,
        serve,
        sessions,
        trend,
    )
