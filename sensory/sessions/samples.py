"""The samples that the ballots of a session name, and the reference among them.

Why so
------
A reference that no ballot names makes every profile undecided, and nothing says so before the
finding. So it is chosen from the samples that are there, and an agreement or a closing that names
another one is refused.
"""

from __future__ import annotations

from ..base.errors import RecordError
from ..base.spelling import same_person, tidy_name
from ..catalogue.columns import Cells
from ..catalogue.question import Question
from ..catalogue.tests import find_kind

SAMPLE = "sample"
REFERENCES = ("reference", "control")
"""Settings that name one of the samples."""


def samples_on(cells: Cells) -> tuple[str, ...]:
    """Names of samples on ballots, each once, in the spelling that comes first.

    >>> samples_on({3: {"sample": "B 7"}, 2: {"sample": "Reference"}, 4: {"sample": "b 7"}})
    ('Reference', 'B 7')
    """
    names: dict[str, str] = {}
    for _, texts in sorted(cells.items()):
        if name := tidy_name(texts.get(SAMPLE, "")):
            names.setdefault(same_person(name), name)
    return tuple(names.values())


def reference_of(question: Question) -> str:
    """The sample that the others are compared with; empty where the test names none, or trains."""
    if question.training is not None:
        return ""
    kind = find_kind(question.protocol)
    named = (kind.setting(question.settings, key) for key in REFERENCES if kind.has_setting(key))
    return next((tidy_name(str(name)) for name in named if name), "")


def check_reference(question: Question, cells: Cells) -> None:
    """Refuse a reference that is none of the samples on the ballots.

    Raises RecordError, with the samples that are there; nothing where no ballot names a sample.
    """
    name, there = reference_of(question), samples_on(cells)
    if name and there and same_person(name) not in map(same_person, there):
        raise RecordError(
            f"The reference {name!r} is none of the samples on the ballots: {', '.join(there)}. "
            "Choose it among them."
        )
