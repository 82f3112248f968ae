"""What each test serves: which orders are possible, and what a set of it holds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ..base.errors import ArgumentError
from ..catalogue.kind import TestKind
from .blocks import IncompleteBlocks, incomplete_blocks
from .chance import Draw
from .dealing import Choices
from .squares import MOST, williams_squares

LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmn"
"""Names of the samples in an order, in the sequence in which the samples were given."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Possible:
    """The possible orders of a test.

    `choices`: see `dealing`.
    `design`: where a set holds only some of the samples.
    """

    choices: Choices
    design: IncompleteBlocks | None = None


def possible_sittings(test: TestKind, sets: int, set_size: int) -> tuple[int, ...]:
    """Over how many sittings the sets of one assessor can be spread.

    `sets`: of one assessor, replicates included.
    `set_size`: samples in one set.

    Returns up to one set a sitting; where samples are judged one by one, also equal parts of every
    set.

    >>> from sensory.catalogue.tests import find_kind
    >>> possible_sittings(find_kind("triangle"), 3, 3)
    (1, 2, 3)
    >>> possible_sittings(find_kind("profile"), 2, 3)
    (1, 2, 4, 6)
    """
    parts = range(2, set_size + 1) if test.serving.splittable else ()
    return (*range(1, sets + 1), *(sets * part for part in parts))


def two_sample_orders(test: TestKind, *, target: str, balanced_reference: bool) -> Choices:
    """The orders of a test of two samples.

    Raises ArgumentError for a target that is not A or B, or a balanced reference where there is no
    other form than the usual one.
    """
    if target not in ("A", "B"):
        raise ArgumentError(f"target must be 'A' or 'B'; got {target!r}.")
    sets = [
        orders
        for orders in test.serving.order_sets
        if not test.protocol or all(test.protocol.right_answers(order, target) for order in orders)
    ]
    if balanced_reference and len(sets) < 2:
        raise ArgumentError(
            f"balanced_reference is for tests with a labelled reference; a {test.name} test "
            "has none. Leave it out."
        )
    orders = max(sets, key=len) if balanced_reference else sets[0]
    return tuple((order,) for order in orders)


def several_sample_orders(
    samples: int, set_size: int | None, draw: Draw, most: int = MOST
) -> Possible:
    """Balanced orders of several samples, or of sets with some of them.

    `most`: samples in one order.

    Which sample takes which place in the design is drawn.

    Raises ArgumentError for numbers for which there is no design.
    """
    names = draw.shuffled(LETTERS[:samples])
    if set_size is not None and set_size != samples:
        design = incomplete_blocks(samples, set_size)
        return Possible(choices=_named(design.orders(), names), design=design)
    squares = williams_squares(samples, most)
    return Possible(choices=_named(tuple(zip(*squares, strict=True)), names))


def _named(orders: Sequence[Sequence[Sequence[int]]], names: Sequence[str]) -> Choices:
    return tuple(
        tuple("".join(names[place] for place in order) for order in versions) for versions in orders
    )
