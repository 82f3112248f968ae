"""Dealing orders to assessors so that each is served equally often.

Why so
------
Orders are dealt round a circle (`serving/dealing.py`): counts differ by one at most in every
replicate and in all together, and nobody meets an order twice before all the others, at any
number of assessors.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from itertools import pairwise
from math import gcd

from .chance import Draw

Choices = tuple[tuple[str, ...], ...]
"""What may be served: for each choice its versions, such as an order and its mirror image,
or the orders of one set of samples. Versions are as many for each choice, and the first ones
of all choices are balanced together, and the second ones, and so on."""

Dealt = list[list[str]]
"""Orders of each assessor."""


def deal(choices: Choices, assessors: int, times: int, draw: Draw) -> Dealt:
    """Orders for each assessor, every choice equally often, in randomised blocks.

    `times`: how many orders each assessor gets.

    Returns `times` orders for each assessor.

    Notes
    -----
    Let there be K choices and m assessors in a block, K of them but for the last. In a block
    assessor j has at time t the choice in place j + s(t) (modulo K) of a random sequence of
    all choices, with s(t) = t m + floor((t mod K) gcd(m, K) / K). Then

    - at one time all choices within a block differ;
    - the places of successive times follow on each other round the sequence, so that after
      any number of times the counts of two choices differ by one at most;
    - s(t) takes all K values before one comes again, so an assessor meets a choice a second
      time only after all the others.

    The versions of a choice take turns, time by time and assessor by assessor, in a random
    sequence that is the same for all choices.

    >>> served = deal((("AB",), ("BA",)), 4, 2, Draw(7))
    >>> [sorted(orders) for orders in served]
    [['AB', 'BA'], ['AB', 'BA'], ['AB', 'BA'], ['AB', 'BA']]
    """
    size = len(choices)
    places: list[list[int]] = []
    while len(places) < assessors:
        block = min(size, assessors - len(places))
        sequence = draw.shuffled(range(size))
        shared = gcd(block, size)
        shifts = [t * block + (t % size) * shared // size for t in range(times)]
        places += [[sequence[(j + s) % size] for s in shifts] for j in range(block)]
    turns = draw.shuffled(range(len(choices[0])))
    seen: Counter[int] = Counter()
    dealt: Dealt = [[] for _ in range(assessors)]
    for time in range(times):
        for mine, place in zip(dealt, (shifted[time] for shifted in places), strict=True):
            mine.append(choices[place][turns[seen[place] % len(turns)]])
            seen[place] += 1
    return dealt


def next_orders(
    choices: Choices, served: Iterable[Sequence[str]], times: int, draw: Draw
) -> list[str]:
    """Orders for one more assessor, such that the counts come as close together as they can.

    `served`: the orders of the other assessors.
    `times`: how many orders the assessor gets.

    Returns each from the least served of the choices that this assessor has not had yet; among
    equals the one least served at this time, then the order after which positions and successions
    of samples are served most evenly, then by chance.
    """
    there = [list(dealt) for dealt in served]
    choice_of = {order: number for number, group in enumerate(choices) for order in group}
    orders = Counter(order for dealt in there for order in dealt)
    counts = Counter(choice_of[order] for order in orders.elements())
    mine: Counter[int] = Counter()
    chosen: list[str] = []
    for time in range(times):
        now = Counter(choice_of[dealt[time]] for dealt in there)
        ranks = {n: (mine[n], counts[n], now[n]) for n in range(len(choices))}
        least = min(ranks.values())
        free = [order for n, rank in ranks.items() if rank == least for order in _least(
            choices[n], orders)]  # fmt: skip
        chosen.append(draw.pick(_most_even(free, orders)))
        orders[chosen[-1]] += 1
        counts[choice_of[chosen[-1]]] += 1
        mine[choice_of[chosen[-1]]] += 1
    return chosen


def _least(versions: Sequence[str], orders: Counter[str]) -> list[str]:
    fewest = min(orders[order] for order in versions)
    return [order for order in versions if orders[order] == fewest]


def _most_even(among: Sequence[str], orders: Counter[str]) -> list[str]:
    """Those whose positions and successions were served least so far."""
    if len(among) == 1:
        return list(among)
    steps: Counter[object] = Counter()
    for order, times in orders.items():
        for step in _steps(order):
            steps[step] += times
    costs = {order: sum(steps[step] for step in _steps(order)) for order in among}
    return [order for order in among if costs[order] == min(costs.values())]


def _steps(order: str) -> list[object]:
    return [*enumerate(order), *pairwise(order)]
