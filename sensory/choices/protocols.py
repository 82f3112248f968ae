"""The forced-choice protocols as data.

A protocol is the statistics of a forced choice, and its orders. The test of the house that
serves, asks and reads it is `catalogue.forced_choice.forced_choice`; no module asks which
protocol it has in hand.

An order is written as the letters of the samples in the order of serving, ``A`` for the
reference and ``B`` for the sample compared with it. Leading samples that are handed out
as a labelled reference carry no code.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from fractions import Fraction
from itertools import permutations

from numpy.typing import ArrayLike

from ..base.arrays import Floats
from ..base.checks import as_fraction, within
from ..base.errors import ArgumentError
from ..base.standards import STANDARDS, Standard
from ..models import links
from ..models.links import Link

Answer = frozenset[int]
RightAnswers = Callable[[str, str], tuple[Answer, ...]]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Protocol:
    """One forced-choice test: how it is served, asked, and answered by chance.

    Attributes
    ----------
    key, name : str
        ``TRIANGLE`` and "triangle".
    guess : Fraction
        Probability of a correct answer by guessing, exact.
    order_sets : tuple of tuples of str
        Sets of orders that a session may use; within a set all are served equally often.
    labelled : int
        How many leading samples are a labelled reference without a code.
    picks : int
        How many coded samples the assessor names.
    asks : str
        The question on the ballot.
    right : callable
        (coded part of the order, labelled part or target letter) to the right answers,
        each a set of positions from 0.
    link : Link
        d-prime to proportion correct.
    standard : Standard
    standard_note : str
        Which clause, or what the standard covers, where the method has none of its own.
    asks_attribute : bool
        True when the question is about a named attribute.
    takes_target : bool
        True when it has to be stated which sample is expected to have more of it.
    reversible : bool
        True when a two-sided question is possible.

    Examples
    --------
    >>> TRIANGLE.orders
    ('ABB', 'BAB', 'BBA', 'AAB', 'ABA', 'BAA')
    >>> round(float(TRIANGLE.proportion_correct(1.0)), 4)
    0.418
    """

    key: str
    name: str
    guess: Fraction
    order_sets: tuple[tuple[str, ...], ...]
    asks: str
    right: RightAnswers
    link: Link
    standard: Standard
    standard_note: str = ""
    labelled: int = 0
    picks: int = 1
    asks_attribute: bool = False
    takes_target: bool = False
    reversible: bool = False

    @property
    def orders(self) -> tuple[str, ...]:
        """Every order that any session may use."""
        return tuple(dict.fromkeys(order for group in self.order_sets for order in group))

    @property
    def coded(self) -> int:
        """Number of coded samples in one test."""
        return len(self.order_sets[0][0]) - self.labelled

    def right_answers(self, order: str, target: str = "B") -> tuple[Answer, ...]:
        """The answers that count as correct, as sets of positions among the coded samples.

        None when the order does not fit the target: in a 3-AFC the odd sample is the one
        expected to have more.

        Raises
        ------
        ArgumentError
            For an order that the protocol does not serve, or another target than A and B.

        Examples
        --------
        >>> DUO_TRIO.right_answers("BAB")
        (frozenset({1}),)
        """
        if target not in ("A", "B"):
            raise ArgumentError(f"target must be 'A' or 'B'; got {target!r}.")
        if order not in self.orders:
            raise ArgumentError(
                f"order {order!r} is no order of a {self.name} test; "
                f"possible are {', '.join(self.orders)}."
            )
        return self.right(order[self.labelled :], order[: self.labelled] or target)

    def proportion_correct(self, dprime: ArrayLike) -> Floats:
        """Proportion correct at `dprime`, array in, array out.

        Raises
        ------
        ArgumentError
            For a negative d-prime, or what is no number.

        Examples
        --------
        >>> TRIANGLE.proportion_correct([0.0, 1.0, 2.0]).round(3).tolist()
        [0.333, 0.418, 0.605]
        """
        return self.link.proportion_correct(dprime)

    def dprime(self, pc: ArrayLike) -> Floats:
        """d-prime at proportion correct `pc`: 0 at or below guessing, infinite at 1.

        Raises
        ------
        ArgumentError
            For a proportion outside [0, 1].

        Examples
        --------
        >>> TRIANGLE.dprime([0.2, 0.6, 1.0]).round(3).tolist()
        [0.0, 1.976, inf]
        """
        return self.link.dprime(pc)

    def slope(self, dprime: ArrayLike) -> Floats:
        """Derivative of the proportion correct with respect to d-prime.

        Raises
        ------
        ArgumentError
            For a negative d-prime, or what is no number.

        Examples
        --------
        >>> round(float(TRIANGLE.slope(1.0)), 4)
        0.156
        """
        return self.link.slope(dprime)

    def distinguishers(self, pc: ArrayLike) -> Floats:
        """Proportion of distinguishers pd at proportion correct `pc`, not floored at 0.

        Raises
        ------
        ArgumentError
            For a proportion outside [0, 1].

        Examples
        --------
        >>> TRIANGLE.distinguishers([0.2, 0.6]).round(3).tolist()
        [-0.2, 0.4]
        """
        guess = float(self.guess)
        return (within("pc", pc, 0.0, 1.0) - guess) / (1 - guess)

    def pc_at(self, pd: float | Fraction) -> Fraction:
        """Proportion correct when a share `pd` of assessors distinguishes, exact.

        Raises
        ------
        ArgumentError
            For a share outside [0, 1].

        Examples
        --------
        >>> TRIANGLE.pc_at(0.3)
        Fraction(8, 15)
        """
        within("pd", float(pd) if isinstance(pd, Fraction) else pd, 0.0, 1.0)
        return self.guess + (1 - self.guess) * as_fraction(pd)

    def __repr__(self) -> str:
        return self.key

    def __reduce__(self) -> tuple[Callable[[str], Protocol], tuple[str]]:
        # One object a protocol, in every process: pickled as its key.
        return (find_protocol, (self.key,))


def _odd_one(served: str, _target: str) -> tuple[Answer, ...]:
    rare = min("AB", key=served.count)
    return (frozenset(i for i, letter in enumerate(served) if letter == rare),)


def _odd_one_expected(served: str, target: str) -> tuple[Answer, ...]:
    rare = min("AB", key=served.count)
    return _odd_one(served, target) if rare == target else ()


def _named(served: str, target: str) -> tuple[Answer, ...]:
    return (frozenset(i for i, letter in enumerate(served) if letter == target),)


def _either_pair(served: str, _target: str) -> tuple[Answer, ...]:
    return _named(served, "A") + _named(served, "B")


def _arrangements(*letters: str) -> tuple[str, ...]:
    return tuple(
        dict.fromkeys("".join(order) for group in letters for order in permutations(group))
    )


TRIANGLE = Protocol(
    key="TRIANGLE",
    name="triangle",
    guess=Fraction(1, 3),
    order_sets=(("ABB", "BAB", "BBA", "AAB", "ABA", "BAA"),),
    asks="Two of the three samples are alike. Which one is different?",
    right=_odd_one,
    link=links.TRIANGLE_LINK,
    standard=STANDARDS["ISO 4120"],
)
DUO_TRIO = Protocol(
    key="DUO_TRIO",
    name="duo-trio",
    guess=Fraction(1, 2),
    order_sets=(("AAB", "ABA"), ("AAB", "ABA", "BAB", "BBA")),
    labelled=1,
    asks="Which of the two coded samples is the same as the reference?",
    right=_named,
    link=links.DUO_TRIO_LINK,
    standard=STANDARDS["ISO 10399"],
    standard_note="constant reference: orders AAB, ABA; balanced reference: all four",
)
PAIRED = Protocol(
    key="PAIRED",
    name="paired comparison",
    guess=Fraction(1, 2),
    order_sets=(("AB", "BA"),),
    asks="Which of the two samples has more of the named attribute?",
    right=_named,
    link=links.PAIRED_LINK,
    standard=STANDARDS["ISO 5495"],
    asks_attribute=True,
    takes_target=True,
    reversible=True,
)
THREE_AFC = Protocol(
    key="THREE_AFC",
    name="3-AFC",
    guess=Fraction(1, 3),
    order_sets=(("AAB", "ABA", "BAA"), ("BBA", "BAB", "ABB")),
    asks="Which of the three samples has most of the named attribute?",
    right=_odd_one_expected,
    link=links.THREE_AFC_LINK,
    standard=STANDARDS["ISO 13301"],
    asks_attribute=True,
    takes_target=True,
    standard_note="the 3-AFC procedure; the odd sample is the one expected to have more",
)
TETRAD = Protocol(
    key="TETRAD",
    name="tetrad",
    guess=Fraction(1, 3),
    order_sets=(("AABB", "ABAB", "ABBA", "BAAB", "BABA", "BBAA"),),
    picks=2,
    asks="The four samples are two pairs of like samples. Name the two of one pair.",
    right=_either_pair,
    link=links.TETRAD_LINK,
    standard=STANDARDS["ISO 6658"],
    standard_note="tetrad, clause 5.2.7",
)
TWO_OUT_OF_FIVE = Protocol(
    key="TWO_OUT_OF_FIVE",
    name="two-out-of-five",
    guess=Fraction(1, 10),
    order_sets=(_arrangements("AAABB", "BBBAA"),),
    picks=2,
    asks="Three of the five samples are alike, and so are the other two. Name the two.",
    right=_odd_one,
    link=links.TWO_OUT_OF_FIVE_LINK,
    standard=STANDARDS["ISO 6658"],
)

PROTOCOLS: dict[str, Protocol] = {
    entry.key: entry for entry in (TRIANGLE, DUO_TRIO, PAIRED, THREE_AFC, TETRAD, TWO_OUT_OF_FIVE)
}


def find_protocol(text: str) -> Protocol:
    """The protocol of that key or name, however it is spaced or capitalised.

    Raises ArgumentError for a name that no protocol has; the message lists those there are.

    Examples
    --------
    >>> find_protocol("Duo-Trio")
    DUO_TRIO
    """
    if not isinstance(text, str):
        raise ArgumentError(f"protocol must be a name; got {text!r}.")
    wanted = _squeeze(text)
    for entry in PROTOCOLS.values():
        if wanted in (_squeeze(entry.key), _squeeze(entry.name)):
            return entry
    raise ArgumentError(f"protocol {text!r} is not known; possible are {_listed(PROTOCOLS)}.")


def _squeeze(text: str) -> str:
    return "".join(letter for letter in text.casefold() if letter.isalnum())


def _listed(names: Iterable[str]) -> str:
    return ", ".join(names)
