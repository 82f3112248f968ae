"""What each test serves: which orders are possible, and what a set of it holds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ..base.errors import ArgumentError
from ..catalogue.methods import METHODS, Method
from ..choices.protocols import PROTOCOLS, Protocol, find_protocol
from .blocks import IncompleteBlocks, incomplete_blocks
from .chance import Draw
from .dealing import Choices
from .squares import williams_squares

LETTERS = "ABCDEFGHIJKLM"
"""Names of the samples in an order, in the sequence in which the samples were given."""

PAIR_ORDERS = {
    "A_NOT_A": ("AB", "BA"),
    "SAME_DIFFERENT": ("AA", "AB", "BA", "BB"),
}
"""Methods that compare two samples, with their orders; in A - not A the assessor judges one
after the other, each kind equally often first."""

SPLIT = frozenset({"SURENESS", "PROFILE", "DIFFERENCE_FROM_CONTROL"})
"""Methods that judge sample by sample, so that one set may go on in a later sitting."""

LABELLED = {"DIFFERENCE_FROM_CONTROL": "labelled reference"}
"""What is served with its name, and no code, in front of every set."""

HAS_A = frozenset({"SURENESS"})
"""Methods whose reference goes by the name A."""

Test = Protocol | Method


@dataclass(frozen=True, slots=True, kw_only=True)
class Possible:
    """The possible orders of a test.

    Attributes
    ----------
    choices : tuple of tuples of str
        See `dealing`.
    design : IncompleteBlocks or None
        Where a set holds only some of the samples.
    """

    choices: Choices
    design: IncompleteBlocks | None = None


def find(test: Test | str) -> Test:
    """The protocol or method, given itself or by its key or name.

    Raises
    ------
    ArgumentError
        When there is none of that name.
    """
    if isinstance(test, (Protocol, Method)):
        return test
    if not isinstance(test, str):
        raise ArgumentError(f"test must be a protocol, a method or the name of one; got {test!r}.")
    wanted = _squeeze(test)
    for method in METHODS.values():
        if wanted in (_squeeze(method.key), _squeeze(method.name)):
            return method
    try:
        return find_protocol(test)
    except ArgumentError:
        names = ", ".join([*PROTOCOLS, *METHODS])
        raise ArgumentError(f"test {test!r} is not known; possible are {names}.") from None


def compares_two(test: Test) -> bool:
    """Whether the test compares two samples A and B, not a list of them."""
    return isinstance(test, Protocol) or test.key in PAIR_ORDERS


def possible_sittings(test: Test, sets: int, set_size: int) -> tuple[int, ...]:
    """Over how many sittings the sets of one assessor can be spread.

    Parameters
    ----------
    test : Protocol or Method
    sets : int
        Of one assessor, replicates included.
    set_size : int
        Samples in one set.

    Returns
    -------
    tuple of int
        Up to one set a sitting; where samples are judged one by one, also equal parts of
        every set.

    Examples
    --------
    >>> possible_sittings(find("triangle"), 3, 3), possible_sittings(find("profile"), 2, 3)
    ((1, 2, 3), (1, 2, 4, 6))
    """
    parts = range(2, set_size + 1) if test.key in SPLIT else ()
    return (*range(1, sets + 1), *(sets * part for part in parts))


def two_sample_orders(test: Test, *, target: str, balanced_reference: bool) -> Choices:
    """The orders of a test of two samples.

    Raises
    ------
    ArgumentError
        For a target that is not A or B, or a balanced reference where there is no other
        form than the usual one.
    """
    if target not in ("A", "B"):
        raise ArgumentError(f"target must be 'A' or 'B'; got {target!r}.")
    if isinstance(test, Method):
        sets: list[tuple[str, ...]] = [PAIR_ORDERS[test.key]]
    else:
        sets = [
            orders
            for orders in test.order_sets
            if all(test.right_answers(order, target) for order in orders)
        ]
    if balanced_reference and len(sets) < 2:
        raise ArgumentError(
            f"balanced_reference is for tests with a labelled reference; a {test.name} test "
            "has none. Leave it out."
        )
    orders = max(sets, key=len) if balanced_reference else sets[0]
    return tuple((order,) for order in orders)


def several_sample_orders(samples: int, set_size: int | None, draw: Draw) -> Possible:
    """Balanced orders of several samples, or of sets with some of them.

    Which sample takes which place in the design is drawn.

    Raises
    ------
    ArgumentError
        For numbers for which there is no design.
    """
    names = draw.shuffled(LETTERS[:samples])
    if set_size is not None and set_size != samples:
        design = incomplete_blocks(samples, set_size)
        return Possible(choices=_named(design.orders(), names), design=design)
    squares = williams_squares(samples)
    return Possible(choices=_named(tuple(zip(*squares, strict=True)), names))


def _named(orders: Sequence[Sequence[Sequence[int]]], names: Sequence[str]) -> Choices:
    return tuple(
        tuple("".join(names[place] for place in order) for order in versions) for versions in orders
    )


def _squeeze(text: str) -> str:
    return "".join(letter for letter in text.casefold() if letter.isalnum())
