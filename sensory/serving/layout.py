"""From the orders of an assessor to rows: what is put down where, when, under which code."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import groupby

from ..base.plain import LEFT_OUT_EMPTY, Plain
from .dealing import Choices
from .rules import LETTERS


@dataclass(frozen=True, slots=True, kw_only=True)
class ServingRow(Plain):
    """One cup for one assessor.

    `sitting`: from 1; between sittings lies a break.
    `set`, `replicate`: from 1; 0 for a warm-up sample, which belongs to no set.
    `position`: place in the set, from 1; 0 for what comes before it: a warm-up sample or a labelled
        reference.
    `code`: empty for a labelled reference.
    `order`: the order of the whole set in letters; empty for a warm-up sample.
    """

    assessor: str
    sitting: int
    set: int
    replicate: int
    position: int
    sample: str
    code: str
    order: str

    @property
    def scored(self) -> bool:
        """Whether an answer about this cup is asked."""
        return self.position > 0 and bool(self.code)


@dataclass(frozen=True, slots=True, kw_only=True)
class ServedSet:
    """One set of one assessor, such as one triad.

    `sitting`: in which the set begins.
    `order`: such as ABB, first served first.
    `samples`, `codes`: of the coded samples, first served first.
    """

    assessor: str
    sitting: int
    set: int
    replicate: int
    order: str
    samples: tuple[str, ...]
    codes: tuple[str, ...]


Course = Sequence[tuple[int, int, str]]
"""What one assessor gets, first to last: replicate, set and order."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ServingDesign(Plain):
    """What is the same for every assessor of a plan.

    `test`: key of the protocol or method.
    `samples`: names by letter, A first: one pair for each set of a test of two samples, else one
        list of all samples.
    `set_size`: samples of one set, a labelled one in the order included.
    `warm_up`, `reference`: what is served first in each sitting, and first in each set with its
        name; empty for nothing.
    `labelled`: how many samples at the front of an order are a labelled reference.
    `compares_two`: whether the test compares two samples.
    `together`: in incomplete sets: how often each two samples meet in one whole design; else 0.
    `choices`: the possible orders; see `dealing`.
    `rising`: whether everybody gets the sets in the order given.
    """

    test: str
    samples: tuple[tuple[str, ...], ...]
    replicates: int
    sets: int
    sittings: int
    set_size: int
    warm_up: str
    reference: str
    labelled: int
    compares_two: bool
    together: int
    choices: Choices
    rising: bool = field(default=False, metadata=LEFT_OUT_EMPTY)

    @property
    def coded(self) -> int:
        """How many codes one assessor needs."""
        scored = self.replicates * self.sets * (self.set_size - self.labelled)
        return scored + (self.sittings if self.warm_up else 0)

    @property
    def orders(self) -> tuple[str, ...]:
        """Every possible order."""
        return tuple(order for versions in self.choices for order in versions)

    def names(self, number: int) -> tuple[str, ...]:
        """Names of the samples of a set, by letter."""
        return self.samples[number - 1 if self.compares_two else 0]

    def sample(self, number: int, letter: str) -> str:
        """Name of the sample that a letter stands for in a set."""
        return self.names(number)[LETTERS.index(letter)]

    def sitting(self, serving: int, position: int) -> int:
        """Sitting in which a cup is served; its set and its place in it count from 0."""
        servings = self.replicates * self.sets
        if self.sittings <= servings:
            return serving * self.sittings // servings + 1
        parts = self.sittings // servings
        return serving * parts + position * parts // self.set_size + 1


def rows_of(
    design: ServingDesign, assessor: str, course: Course, codes: Iterable[str]
) -> Iterator[ServingRow]:
    """All cups of one assessor, first served first.

    `codes`: as many as `ServingDesign.coded`.
    """
    code = iter(codes)
    here = 0
    for serving, (replicate, number, order) in enumerate(course):
        for position, letter in enumerate(order):
            sitting = design.sitting(serving, position)
            begins = sitting > here
            here = sitting
            if begins and design.warm_up:
                yield ServingRow(
                    assessor=assessor, sitting=sitting, set=0, replicate=0, position=0,
                    sample=design.warm_up, code=next(code), order="",
                )  # fmt: skip
            if design.reference and (begins or position == 0):
                yield ServingRow(
                    assessor=assessor, sitting=sitting, set=number, replicate=replicate,
                    position=0, sample=design.reference, code="", order=order,
                )  # fmt: skip
            yield ServingRow(
                assessor=assessor, sitting=sitting, set=number, replicate=replicate,
                position=position + 1, sample=design.sample(number, letter),
                code="" if position < design.labelled else next(code), order=order,
            )  # fmt: skip


def served_sets(rows: Iterable[ServingRow]) -> Iterator[ServedSet]:
    """The sets that rows make up, in the order of serving."""
    in_sets = (row for row in rows if row.position > 0)
    for key, cups in groupby(in_sets, key=lambda row: (row.assessor, row.replicate, row.set)):
        together = list(cups)
        scored = [row for row in together if row.scored]
        yield ServedSet(
            assessor=key[0],
            sitting=together[0].sitting,
            set=key[2],
            replicate=key[1],
            order=together[0].order,
            samples=tuple(row.sample for row in scored),
            codes=tuple(row.code for row in scored),
        )
