"""Dealing orders to assessors so that each is served equally often."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from itertools import pairwise
from math import gcd

from .chance import Draw

Groups = tuple[tuple[str, ...], ...]
"""Orders in groups, each of them balanced in itself, such as one square of two."""


def deal(groups: Groups, assessors: int, times: int, draw: Draw) -> list[list[str]]:
    """Orders for each assessor, each possible order equally often, in randomised blocks.

    Parameters
    ----------
    groups : tuple of tuples of str
        The possible orders. A block goes through group after group.
    assessors : int
    times : int
        How many orders each assessor gets.
    draw : Draw

    Returns
    -------
    list of list of str
        `times` orders for each assessor.

    Notes
    -----
    Let there be K orders and m assessors in a block, K of them but for the last. In a block
    assessor j has at time t the order in place j + s(t) (modulo K) of a random sequence of
    all orders, with s(t) = t m + floor(t gcd(m, K) / K). Then

    - at one time all orders of a block differ;
    - the places of successive times follow on each other round the sequence, so that after
      any number of times the counts of two orders differ by one at most;
    - s(t) takes all K values before one comes again, so an assessor meets an order a second
      time only after all the others.

    Examples
    --------
    >>> served = deal((("AB", "BA"),), 4, 2, Draw(7))
    >>> [sorted(orders) for orders in served]
    [['AB', 'BA'], ['AB', 'BA'], ['AB', 'BA'], ['AB', 'BA']]
    """
    size = sum(map(len, groups))
    dealt: list[list[str]] = []
    while len(dealt) < assessors:
        block = min(size, assessors - len(dealt))
        sequence = _sequence(groups, draw)
        shared = gcd(block, size)
        shifts = [t * block + (t % size) * shared // size for t in range(times)]
        dealt += [[sequence[(j + s) % size] for s in shifts] for j in range(block)]
    return dealt


def _sequence(groups: Groups, draw: Draw) -> list[str]:
    """All orders, the groups in random order, each in random order.

    Groups of one length share their random order, each turned by one place more, so that
    who gets several orders rarely meets the like of one, such as the same samples of a set.
    """
    places = {len(group): draw.shuffled(range(len(group))) for group in groups}
    sequence = []
    for number, group in enumerate(draw.shuffled(groups)):
        turned = places[len(group)]
        sequence += [group[turned[(at + number) % len(group)]] for at in range(len(group))]
    return sequence


def next_orders(orders: Sequence[str], served: Iterable[Sequence[str]], times: int, draw: Draw) -> (
    list[str]
):  # fmt: skip
    """Orders for one more assessor, such that the counts come as close together as they can.

    Parameters
    ----------
    orders : sequence of str
        All possible orders.
    served : iterable of sequences of str
        The orders of the other assessors, one a time.
    times : int
        How many orders the assessor gets.
    draw : Draw

    Returns
    -------
    list of str
        Each the least served of those that this assessor has not had yet; among equals the
        one least served at this time, then the one after which positions and successions of
        samples are served most evenly, then by chance.
    """
    there = [list(one) for one in served]
    counts = Counter(order for one in there for order in one)
    found: list[str] = []
    for time in range(times):
        mine = Counter(found)
        now = Counter(one[time] for one in there if time < len(one))
        fewest = min(mine[order] for order in orders)
        free = [order for order in orders if mine[order] == fewest]
        least = min((counts[order], now[order]) for order in free)
        among = [order for order in free if (counts[order], now[order]) == least]
        found.append(draw.pick(_most_even(among, counts)))
        counts[found[-1]] += 1
    return found


def _most_even(among: Sequence[str], counts: Counter[str]) -> list[str]:
    """Those that stand where, and follow what, was served least so far."""
    if len(among) == 1:
        return list(among)
    steps: Counter[object] = Counter()
    for order, times in counts.items():
        for step in _steps(order):
            steps[step] += times
    costs = {order: sum(steps[step] for step in _steps(order)) for order in among}
    return [order for order in among if costs[order] == min(costs.values())]


def _steps(order: str) -> list[object]:
    return [*enumerate(order), *pairwise(order)]
