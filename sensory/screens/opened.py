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


def _today() -> None:
    from .today import page

    page()


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


def _limit() -> None:
    from .limit import page

    page()


def _people() -> None:
    from .people import page

    page()


def _new() -> None:
    from .new import page

    page()


def _studies() -> None:
    from .studies import page

    page()


def _shelf_life() -> None:
    from .shelf_life import page

    page()


def _training() -> None:
    from .training import page

    page()


def _words() -> None:
    from .words import page

    page()


def _settings() -> None:
    from .settings import page

    page()


def _help() -> None:
    from .help import page

    page()


PAGES: dict[str, Callable[[], None]] = {
    page.__name__.lstrip("_"): page
    for page in (
        *(_today, _sessions, _batches, _trend, _people, _product, _plan),
        *(_new, _question, _serve, _ballots, _finding, _batch, _shelf_life, _studies),
        *(_limit, _words, _training, _settings, _help),
    )
}
"""What draws a page, by its name: those of the menu in its order, then those that others lead
to."""
MENU = {
    "today": "Today",
    "sessions": "Sessions",
    "batches": "Batches",
    "trend": "Trend",
    "people": "Panel",
    "product": "Products",
    "plan": "Plan",
}
TITLES = {
    **MENU,
    "new": "New session",
    "question": "Question",
    "serve": "Serving",
    "ballots": "Ballots",
    "finding": "Finding",
    "batch": "Batch",
    "shelf_life": "Shelf life",
    "studies": "Studies",
    "limit": "Limit",
    "words": "Words",
    "training": "Training",
    "settings": "Settings",
    "help": "Help",
}


def import_the_rest() -> None:
    """Wait for a leader's first page, then import all others; for a thread of the server."""
    DRAWN.wait()
    from . import (  # noqa: F401
        ballots,
        batch,
        batches,
        finding,
        help,
        limit,
        new,
        people,
        plan,
        product,
        question,
        serve,
        sessions,
        settings,
        shelf_life,
        studies,
        today,
        training,
        trend,
        words,
    )
