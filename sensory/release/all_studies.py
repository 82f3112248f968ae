"""Every kind of study, in the order in which the page Studies offers them."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from ..base.errors import ArgumentError
from .limit_studies import ACCEPTANCE, LIKED, SOLD
from .lot_studies import LOT_PAIRS
from .panel_studies import GRADERS, RECIPES, RING, THRESHOLD
from .storage_studies import STORAGE_STUDIES
from .study_kinds import StudyKind

STUDIES: Mapping[str, StudyKind] = MappingProxyType(
    {
        kind.key: kind
        for kind in (
            *(THRESHOLD, RECIPES, LOT_PAIRS, GRADERS, RING),
            *STORAGE_STUDIES.values(),
            *(ACCEPTANCE, LIKED, SOLD),
        )
    }
)


def find_study(key: str) -> StudyKind:
    """A kind of study.

    Raises ArgumentError for a key that is not known.

    >>> find_study("threshold").name
    'detection threshold'
    """
    if key not in STUDIES:
        raise ArgumentError(f"there is no study {key!r}; there are {', '.join(STUDIES)}.")
    return STUDIES[key]
