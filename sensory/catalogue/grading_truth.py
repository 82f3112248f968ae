"""Which samples of a grading have a known truth, and what each grader made of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from ..base.spelling import same_person
from .kind import KnownTruth, TestKind

IN, OUT = "in", "out"


def grades_out(kind: TestKind, settings: Mapping[str, Any]) -> tuple[str, ...]:
    """The grades that count as out of the standard; the worst one where none is named."""
    grades = kind.listed(settings, "grades")
    named = {name.casefold() for name in kind.listed(settings, "out")}
    return tuple(name for name in grades if name.casefold() in named) or (grades[-1],)


def truth_of(sample: str, kind: TestKind, settings: Mapping[str, Any]) -> str:
    """'in' for a blind control, 'out' for a spiked sample, empty for a batch.

    >>> from sensory.catalogue.tests import find_kind
    >>> grading = find_kind("GRADING")
    >>> truth_of("Spiked 2", grading, {}), truth_of("SC-118", grading, {})
    ('out', '')
    """
    for key, truth in (("controls", IN), ("spiked", OUT)):
        if same_person(sample) in map(same_person, kind.listed(settings, key)):
            return truth
    return ""


def truth_counts(
    rows: Sequence[Mapping[str, Any]], kind: TestKind, settings: Mapping[str, Any]
) -> dict[str, KnownTruth]:
    """What each assessor made of controls and spiked samples; nobody who had none."""
    grades, out = kind.listed(settings, "grades"), grades_out(kind, settings)
    counts: dict[str, list[int]] = {}
    for row in rows:
        if truth := truth_of(str(row["sample"]), kind, settings):
            mine, at = counts.setdefault(str(row["assessor"]), [0] * 4), 0 if truth == OUT else 2
            mine[at] += grades[row["answer"] - 1] in out
            mine[at + 1] += 1
    return {name: KnownTruth(*numbers) for name, numbers in counts.items()}
