"""What closed sessions teach a plan: the scatter of the panel, and margins that were agreed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from ..catalogue.profile_figures import learned_scatter
from ..catalogue.tests import find_kind
from ..ratings.scatter import PanelScatter
from .finding import outcome_of_session
from .search import ALL
from .session import StoredSession
from .store import Store


@dataclass(frozen=True, slots=True, kw_only=True)
class Learned:
    """What a closed session knows of its panel.

    `panel`: standard deviations of assessor x sample and of error, by attribute.
    `margins`: as they were agreed for that session, of attributes with a known scatter.
    """

    panel: PanelScatter
    margins: Mapping[str, float]


def sessions_to_learn_from(store: Store, test: str) -> list[StoredSession]:
    """The closed sessions with that test, newest first."""
    of_test = store.sessions(ALL, tests=[test])
    return [
        each
        for each in of_test
        if each.closed and each.question.protocol == test and each.question.training is None
    ]


def learned_from(store: Store, session: StoredSession) -> Learned:
    """What the session's outcome says.

    Raises RecordError, BallotError as in `outcome_of_session`.
    """
    panel = learned_scatter(outcome_of_session(store, session))
    agreed = find_kind(session.question.protocol).margins(session.question.settings)
    margins = {name: size for name, size in agreed.items() if name in panel.scatter}
    return Learned(panel=panel, margins=margins)
