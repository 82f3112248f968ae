"""Chance from a seed that gives the same draws on every machine and with every version.

Only `random.Random.random` is promised to stay the same between versions of Python, and
numpy promises nothing of the kind for its generators; a plan has to come out the same years
later. So every draw here is made from that one method.

Why so
------
Serving plans draw from `random.Random.random` alone, the one generator promised to stay the same
between versions; a seed in an old record has to give the old plan. `tests/serving/test_plan.py`
keeps the digest of one.

Whoever has the seed has the key: this code is public, and all seeds of six digits are tried on the
codes of one booth within minutes. So what is served comes from `new_seed`, 128 bits from the
operating system, and a plan with a smaller seed is neither served nor tasted; in Python any seed
gives its plan. The leading one makes the size tell where a seed comes from.
"""

from __future__ import annotations

import hashlib
import random
import secrets
from collections.abc import Iterable, Sequence
from typing import TypeVar

Thing = TypeVar("Thing")
SECRET_BITS = 128


def new_seed() -> int:
    """A seed that nobody can guess or try out: 128 random bits behind a leading one.

    >>> guessable(new_seed()), guessable(7)
    (False, True)
    """
    return 1 << SECRET_BITS | secrets.randbits(SECRET_BITS)


def guessable(seed: int) -> bool:
    """Whether a seed has fewer bits than those of `new_seed`, so that all of its size are tried."""
    return seed.bit_length() <= SECRET_BITS


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
