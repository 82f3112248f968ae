"""How evenly a plan serves: orders, positions, carry-over, and samples in one set."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from itertools import combinations, groupby, pairwise, permutations, product

from ..base.results import Cell, Table
from .layout import ServedSet, ServingDesign, ServingRow, served_sets

COLUMNS = ("what", "set", "order", "sample", "position", "after", "times")


def balance_table(design: ServingDesign, rows: Sequence[ServingRow]) -> Table:
    """How often each order was served, each sample at each position, and after each other.

    Returns columns `what` ('order', 'position', 'carry-over', 'together'), `set` (of a test of two
    samples; None where all sets count together), `order`, `sample`, `position`, `after` and
    `times`; what could have been served and was not has 0 times. Carry-over is counted inside a
    set, and not over a break between sittings. 'together' counts the sets that hold both samples
    where a set holds only some.
    """
    numbers: list[int | None] = [*range(1, design.sets + 1)] if design.compares_two else [None]
    out: list[tuple[Cell, ...]] = []
    for number in numbers:
        mine = [row for row in rows if row.position and number in (None, row.set)]
        names = design.names(number or 1)
        out += _orders(design, number, served_sets(mine))
        out += _positions(design, number, names, mine)
        out += _carry_over(design, number, names, mine)
        out += _together(design, number, names, served_sets(mine))
    return Table(columns=COLUMNS, rows=tuple(out))


def evenness_table(balance: Table) -> Table:
    """The fewest and the most times of each part of a balance table.

    Returns columns `what`, `set`, `fewest`, `most`.
    """
    parts = groupby(balance.rows, key=lambda row: (row[0], row[1]))
    rows = []
    for (what, number), lines in parts:
        times = [line[-1] for line in lines if isinstance(line[-1], int)]
        rows.append((what, number, min(times), max(times)))
    return Table(columns=("what", "set", "fewest", "most"), rows=tuple(rows))


_SENTENCES = {
    "order": "Every order {times}.",
    "position": "Every sample {times} at each position.",
}


def balance_words(evenness: Table) -> str:
    """The balance of a plan in a sentence, from its evenness: of orders, else of positions.

    >>> words = ("what", "set", "fewest", "most")
    >>> balance_words(Table(columns=words, rows=(("order", 1, 4, 4), ("position", 1, 8, 8))))
    'Every order 4 times.'
    >>> balance_words(Table(columns=words, rows=(("position", None, 0, 1),)))
    'Every sample 0 or 1 times at each position.'
    """
    for what, sentence in _SENTENCES.items():
        rows = [row for row in evenness.rows if row[0] == what]
        times = [count for row in rows for count in row[2:] if isinstance(count, int)]
        if times:
            return sentence.format(times=_times(min(times), max(times)))
    return "Every sample once."


def _times(fewest: int, most: int) -> str:
    """How often, in words.

    >>> _times(1, 1), _times(4, 4), _times(3, 4), _times(2, 5)
    ('once', '4 times', '3 or 4 times', '2 to 5 times')
    """
    if fewest == most:
        return "once" if most == 1 else f"{most} times"
    return f"{fewest} {'or' if most == fewest + 1 else 'to'} {most} times"


def _orders(
    design: ServingDesign, number: int | None, sets: Iterable[ServedSet]
) -> Iterator[tuple[Cell, ...]]:
    counts = Counter(served.order for served in sets)
    for order in design.orders:
        yield ("order", number, order, None, None, None, counts[order])


def _positions(
    design: ServingDesign, number: int | None, names: Sequence[str], rows: Iterable[ServingRow]
) -> Iterator[tuple[Cell, ...]]:
    counts = Counter((row.sample, row.position) for row in rows)
    for sample, position in product(names, range(1, design.set_size + 1)):
        times = counts[(sample, position)]
        yield ("position", number, None, sample, position, None, times)


def _carry_over(
    design: ServingDesign, number: int | None, names: Sequence[str], rows: Iterable[ServingRow]
) -> Iterator[tuple[Cell, ...]]:
    counts: Counter[tuple[str, str]] = Counter()
    keys = groupby(rows, key=lambda row: (row.assessor, row.sitting, row.replicate, row.set))
    for _, cups in keys:
        counts.update(pairwise(cup.sample for cup in cups))
    twice = any(letter == other for order in design.orders for letter, other in pairwise(order))
    for before, sample in product(names, repeat=2) if twice else permutations(names, 2):
        yield ("carry-over", number, None, sample, None, before, counts[(before, sample)])


def _together(
    design: ServingDesign, number: int | None, names: Sequence[str], sets: Iterable[ServedSet]
) -> Iterator[tuple[Cell, ...]]:
    if not design.together:
        return
    counts = Counter(
        frozenset(pair) for served in sets for pair in combinations(sorted(served.samples), 2)
    )
    for sample, other in combinations(names, 2):
        times = counts[frozenset((sample, other))]
        yield ("together", number, None, sample, None, other, times)
