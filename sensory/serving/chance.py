"""Chance from a seed that gives the same draws on every machine and with every version.

Only `random.Random.random` is promised to stay the same between versions of Python, and
numpy promises nothing of the kind for its generators; a plan has to come out the same years
later. So every draw here is made from that one method.

Why so
------
Serving plans draw from `random.Random.random` alone, the one generator promised to stay the same
between versions; a seed in an old record has to give the old plan. `tests/serving/test_plan.py`
keeps the digest of one.
"""

from __future__ import annotations

import hashlib
import random
from collections.abc import Iterable, Sequence
from typing import TypeVar

Thing = TypeVar("Thing")


class Draw:
    """Random draws for one purpose, named by words beside the seed.

    `*purpose`: draws for different purposes do not disturb each other: a further assessor leaves
        the codes of the others as they are.

    >>> Draw(7, "codes", "P01").shuffled("ABCD")
    ['D', 'B', 'C', 'A']
    """

    __slots__ = ("_source",)

    def __init__(self, seed: int, *purpose: str):
        text = "\x1f".join([str(seed), *purpose])
        digest = hashlib.sha256(text.encode()).digest()
        self._source = random.Random(int.from_bytes(digest, "big"))

    def below(self, count: int) -> int:
        """A whole number from 0 to below `count`, each equally likely."""
        return int(self._source.random() * count)

    def pick(self, things: Sequence[Thing]) -> Thing:
        """One of the things, each equally likely."""
        return things[self.below(len(things))]

    def shuffled(self, things: Iterable[Thing]) -> list[Thing]:
        """The things in random order, every order equally likely."""
        out = list(things)
        for last in range(len(out) - 1, 0, -1):
            other = self.below(last + 1)
            out[last], out[other] = out[other], out[last]
        return out
