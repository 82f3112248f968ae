"""Balanced incomplete blocks, for more samples than one sitting allows (ISO 29842).

Every assessor gets only some of the samples, all get equally many, and every two samples
meet in the same set equally often.

[1] Cochran, W. G. and Cox, G. M. (1957). Experimental Designs, 2nd ed., chapter 11.
[2] Bose, R. C. (1939). On the construction of balanced incomplete block designs. Annals of
    Eugenics 9, 353-399: starters turned round a circle.

Why so
------
Incomplete blocks are starters as data, found once, counted again whenever they are used; none has
more sets than the counts of pairs demand. A number of sets that is no whole design is refused,
with the numbers that are.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from itertools import combinations
from math import comb, gcd

from ..base.checks import one_count
from ..base.errors import ArgumentError, SensoryError
from .squares import Order, williams_squares

MOST_SAMPLES = 13
"""Samples up to which designs are made."""

# Starters by (samples, samples in a set): how many points the circle has, then the sets from
# which all others come by turning the circle. Points 0 to turn - 1 stand on the first
# circle, the next `turn` of them on a second where they still fit, the rest stay in place.
# Each solves the equations for the counts of pairs with the smallest lambda for which the
# numbers come out whole, so no design has fewer sets; `incomplete_blocks` counts again.
_STARTERS: dict[tuple[int, int], tuple[int, tuple[Order, ...]]] = {
    (6, 3): (5, ((0, 1, 3), (0, 1, 5))),
    (7, 3): (7, ((0, 1, 5),)),
    (8, 4): (7, ((0, 1, 2, 5), (0, 1, 3, 7))),
    (9, 3): (8, ((0, 1, 3), (0, 4, 8))),
    (9, 4): (9, ((0, 1, 2, 7), (0, 1, 4, 6))),
    (10, 3): (9, ((0, 1, 5), (0, 1, 7), (0, 2, 9), (0, 3, 6))),
    (10, 4): (5, ((0, 1, 2, 6), (0, 2, 8, 9), (0, 5, 7, 8))),
    (10, 5): (9, ((0, 1, 2, 7, 9), (0, 1, 3, 5, 6))),
    (11, 3): (11, ((0, 1, 5), (0, 1, 7), (0, 1, 9), (0, 2, 4), (0, 3, 6))),
    (11, 4): (11, ((0, 1, 3, 4), (0, 1, 3, 9), (0, 1, 4, 5), (0, 1, 5, 7), (0, 2, 5, 7))),
    (11, 5): (11, ((0, 1, 2, 6, 9),)),
    (12, 3): (11, ((0, 1, 6), (0, 1, 9), (0, 2, 11), (0, 3, 7))),
    (12, 4): (12, ((0, 1, 2, 9), (0, 1, 5, 10), (0, 2, 6, 8), (0, 3, 6, 9))),
    (12, 5): (
        12,
        (
            (0, 1, 2, 3, 9),
            (0, 1, 2, 4, 7),
            (0, 1, 2, 6, 10),
            (0, 1, 2, 7, 10),
            (0, 1, 2, 8, 10),
            (0, 1, 3, 5, 6),
            (0, 1, 3, 5, 8),
            (0, 1, 4, 6, 7),
            (0, 1, 4, 7, 8),
            (0, 1, 4, 8, 10),
            (0, 1, 5, 8, 10),
        ),
    ),
    (12, 6): (12, ((0, 1, 2, 3, 8, 10), (0, 1, 4, 5, 8, 9), (0, 1, 4, 6, 7, 10))),
    (13, 3): (13, ((0, 1, 4), (0, 2, 8))),
    (13, 4): (13, ((0, 1, 8, 10),)),
    (13, 5): (13, ((0, 1, 2, 4, 11), (0, 1, 5, 6, 11), (0, 1, 5, 7, 10))),
    (13, 6): (13, ((0, 1, 2, 3, 7, 11), (0, 1, 3, 7, 8, 11))),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class IncompleteBlocks:
    """A balanced incomplete block design.

    `samples`, `set_size`: how many samples there are, and how many one set holds.
    `blocks`: the sets, samples numbered from 0, ordered so that each sample stands at each position
        equally often, or within one of it where the numbers do not divide.
    `repeats`: in how many sets each sample is.
    `together`: in how many sets each two samples are together (lambda).
    """

    samples: int
    set_size: int
    blocks: tuple[Order, ...]
    repeats: int
    together: int

    def orders(self) -> tuple[tuple[Order, ...], ...]:
        """For each set its orders, one for each row of a Williams design of its positions.

        Of all sets together, the first orders are balanced in position, as are the second
        and so on; in all of them any two samples that meet follow each other equally often
        in either direction.
        """
        rows = [row for square in williams_squares(self.set_size) for row in square]
        return tuple(
            tuple(tuple(block[place] for place in row) for row in rows) for block in self.blocks
        )

    def whole_panels(self, each: int, around: int) -> tuple[int, ...]:
        """Numbers of assessors with which whole designs are served.

        `each`: sets of one assessor, replicates included.
        `around`: assessors wanted.

        Returns all up to the number wanted, and the next four.

        >>> incomplete_blocks(6, 3).whole_panels(4, 7)
        (5, 10, 15, 20, 25)
        """
        step = len(self.blocks) // gcd(len(self.blocks), each)
        return tuple(step * times for times in range(1, around // step + 5))

    def check_sets(self, sets: int) -> None:
        """Refuse a number of sets with which no whole design is served.

        Raises ArgumentError: Which numbers are nearest below and above.
        """
        size = len(self.blocks)
        if sets % size == 0 and sets > 0:
            return
        below, above = sets // size * size, (sets // size + 1) * size
        near = f"{below} or {above}" if below else str(above)
        raise ArgumentError(
            f"{self.samples} samples in sets of {self.set_size} are balanced in {size} sets or a "
            f"multiple of it (each two samples together {self.together} times); the plan has "
            f"{sets} sets (assessors x sets x replicates). Plan {near} sets, or another set_size."
        )


def incomplete_blocks(samples: int, set_size: int) -> IncompleteBlocks:
    """The smallest balanced incomplete block design for so many samples in sets of so many.

    `samples`: from 3 to 13.
    `set_size`: from 2 to one fewer than `samples`.

    Raises ArgumentError for numbers out of these bounds.

    Notes
    -----
    From starters turned round a circle [2], from the complement of such a design, or else all
    combinations. With v samples in b sets of k, each sample is in r = b k / v sets and each
    two are together in lambda = r (k - 1) / (v - 1) of them, both whole numbers [1]; so the
    number of sets cannot be chosen freely.

    >>> design = incomplete_blocks(7, 3)
    >>> len(design.blocks), design.repeats, design.together
    (7, 3, 1)
    >>> incomplete_blocks(8, 3).together
    6
    """
    v = one_count("samples", samples)
    k = one_count("set_size", set_size)
    if not 3 <= v <= MOST_SAMPLES:
        raise ArgumentError(f"samples must be from 3 to {MOST_SAMPLES} for sets; got {v}.")
    if not 2 <= k < v:
        raise ArgumentError(
            f"set_size must be from 2 to {v - 1}, fewer than the {v} samples; got {k}."
        )
    blocks = _sets(v, k)
    times = Counter(sample for block in blocks for sample in block)
    pairs = Counter(pair for block in blocks for pair in combinations(sorted(block), 2))
    if len(set(times.values())) > 1 or len(pairs) < comb(v, 2) or len(set(pairs.values())) > 1:
        raise SensoryError(f"the sets for {v} samples in sets of {k} are not balanced.")
    return IncompleteBlocks(
        samples=v,
        set_size=k,
        blocks=_at_even_positions(blocks, v, k),
        repeats=times[0],
        together=pairs[(0, 1)],
    )


def _sets(v: int, k: int) -> tuple[Order, ...]:
    if (v, k) in _STARTERS:
        turn, starters = _STARTERS[(v, k)]
        return tuple(block for starter in starters for block in _turned(starter, turn, v))
    if (v, v - k) in _STARTERS:
        return tuple(
            tuple(sample for sample in range(v) if sample not in block) for block in _sets(v, v - k)
        )
    return tuple(combinations(range(v), k))


def _turned(starter: Order, turn: int, v: int) -> tuple[Order, ...]:
    """The starter at each turn of the circles; once where a turn gives it back early."""
    moving = v // turn * turn
    blocks: dict[Order, None] = {}
    for step in range(turn):
        moved = (
            point // turn * turn + (point + step) % turn if point < moving else point
            for point in starter
        )
        blocks.setdefault(tuple(sorted(moved)))
    return tuple(blocks)


def _at_even_positions(blocks: tuple[Order, ...], v: int, k: int) -> tuple[Order, ...]:
    """The sets ordered so that each sample is at each position equally often within one.

    Positions are colours of the pairs (set, sample). A sample in r sets is split into parts
    of k sets at most; colours at a set and at a part then differ, which k colours can do
    (König), by exchanging two colours along a path where the free ones do not agree.
    """
    seen: Counter[int] = Counter()
    at_set: list[dict[int, tuple[int, int]]] = [{} for _ in blocks]
    at_part: dict[tuple[int, int], dict[int, int]] = {}
    for number, block in enumerate(blocks):
        for sample in block:
            part = (sample, seen[sample] // k)
            seen[sample] += 1
            mine, its = at_set[number], at_part.setdefault(part, {})
            free = next(colour for colour in range(k) if colour not in mine)
            wanted = next(colour for colour in range(k) if colour not in its)
            if free != wanted:
                _exchange(at_set, at_part, part, free, wanted)
            mine[free] = part
            its[free] = number
    return tuple(tuple(mine[place][0] for place in range(k)) for mine in at_set)


def _exchange(
    at_set: list[dict[int, tuple[int, int]]],
    at_part: dict[tuple[int, int], dict[int, int]],
    part: tuple[int, int],
    free: int,
    wanted: int,
) -> None:
    """Free a colour at a part by exchanging two colours along the path that starts there."""
    path: list[tuple[int, tuple[int, int], int]] = []
    colour, other = free, wanted
    while colour in at_part[part]:
        number = at_part[part][colour]
        path.append((number, part, colour))
        if other not in at_set[number]:
            break
        part = at_set[number][other]
        path.append((number, part, other))
    for number, there, old in path:
        del at_set[number][old], at_part[there][old]
    for number, there, old in path:
        new = other if old == colour else colour
        at_set[number][new] = there
        at_part[there][new] = number
