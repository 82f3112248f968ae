"""Orders of several samples in which position and carry-over are balanced.

[1] Williams, E. J. (1949). Experimental designs balanced for the estimation of residual
    effects of treatments. Australian Journal of Scientific Research A 2, 149-168.
"""

from __future__ import annotations

from ..base.checks import one_count
from ..base.errors import ArgumentError

Order = tuple[int, ...]
Square = tuple[Order, ...]

FEWEST, MOST = 2, 12
"""Samples for which squares are made. More than 12 nobody scores in one row; serve them in
several sittings or in incomplete blocks. Grading takes more, since it is in or out alone."""


def williams_squares(samples: int, most: int = MOST) -> tuple[Square, ...]:
    """Latin squares in which every sample follows every other one equally often.

    `samples`: from 2 to `most`.

    Returns one square for an even number, two for an odd one, the second being the first read
    backwards. A square has a row for each order, samples numbered from 0.

    Raises ArgumentError for another number of samples.

    Notes
    -----
    The first row zigzags 0, 1, n - 1, 2, n - 2 ..., and each next row adds 1 modulo n [1].
    For even n the differences between neighbours are all of 1 to n - 1, once each; for odd n
    each occurs twice or not at all, and reading backwards supplies the rest.

    >>> williams_squares(4)
    (((0, 1, 3, 2), (1, 2, 0, 3), (2, 3, 1, 0), (3, 0, 2, 1)),)
    >>> len(williams_squares(5))
    2
    """
    n = one_count("samples", samples)
    if not FEWEST <= n <= most:
        raise ArgumentError(
            f"samples must be from {FEWEST} to {most} in one order; got {n}. For more, serve "
            "each assessor only some of them: give set_size."
        )
    first = [0, *((place + 1) // 2 if place % 2 else n - place // 2 for place in range(1, n))]
    square = tuple(tuple((start + step) % n for step in first) for start in range(n))
    return (square,) if n % 2 == 0 else (square, tuple(order[::-1] for order in square))
