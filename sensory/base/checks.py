"""Checks of arguments: each returns the checked value or raises one clear sentence.

All raise `ArgumentError`, which names the argument, says what came, and what is allowed.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .errors import ArgumentError

MOST_TRIALS = 10_000_000


def as_fraction(value: float | str | Fraction) -> Fraction:
    """The number as it was written, so that 0.05 is 1/20 and not its nearest binary float.

    >>> as_fraction(0.05)
    Fraction(1, 20)
    """
    return value if isinstance(value, Fraction) else Fraction(str(value))


def probability(name: str, value: object) -> float:
    """A single number strictly between 0 and 1.

    >>> probability("alpha", 0.05)
    0.05
    """
    array = _numbers(name, value, "a number between 0 and 1")
    return float(levels(name, _single(name, array)))


def levels(name: str, value: ArrayLike) -> NDArray[np.float64]:
    """Numbers strictly between 0 and 1, as an array of any shape."""
    array = _numbers(name, value, "a number between 0 and 1")
    bad = (array <= 0) | (array >= 1)
    if bad.any():
        first = _first(array, bad)
        hint = f" For {first:g} % write {first / 100:g}." if 1 <= first < 100 else ""
        raise ArgumentError(f"{name} must lie strictly between 0 and 1; got {first:g}.{hint}")
    return array


def counts(name: str, value: ArrayLike, *, at_least: int = 0) -> NDArray[np.int64]:
    """Whole numbers from `at_least` to ten million, as an integer array of any shape.

    >>> counts("trials", [24.0, 36])
    array([24, 36])
    """
    array = _numbers(name, value)
    if array.size == 0:
        raise ArgumentError(f"{name} is empty; give at least one number.")
    for bad, wanted in (
        (array != np.floor(array), "whole numbers"),
        (array < at_least, f"at least {at_least}"),
        (array > MOST_TRIALS, f"at most {MOST_TRIALS:,}"),
    ):
        if bad.any():
            raise ArgumentError(f"{name} must be {wanted}; got {_first(array, bad):g}.")
    return array.astype(np.int64)


def one_count(name: str, value: ArrayLike, *, at_least: int = 0) -> int:
    """A single whole number.

    >>> one_count("trials", 24)
    24
    """
    return int(_single(name, counts(name, value, at_least=at_least)))


def truth(name: str, value: object) -> bool:
    """True or False, and nothing that merely counts as either."""
    if not isinstance(value, (bool, np.bool_)):
        raise ArgumentError(f"{name} must be True or False; got {value!r}.")
    return bool(value)


def within(name: str, value: ArrayLike, low: float, high: float) -> NDArray[np.float64]:
    """Numbers from `low` to `high`, both included, as an array of any shape."""
    array = _numbers(name, value, finite=False)
    bad = ~((array >= low) & (array <= high))
    if bad.any():
        raise ArgumentError(
            f"{name} must lie between {low:g} and {high:g}; got {_first(array, bad):g}."
        )
    return array


def one_number(name: str, value: ArrayLike, low: float, high: float) -> float:
    """A single number from `low` to `high`, both included."""
    return float(_single(name, within(name, value, low, high)))


def fitting(**arrays: NDArray[Any]) -> list[NDArray[Any]]:
    """Arrays, given by the names of the arguments, broadcast to one shape that is not empty.

    >>> [array.shape for array in fitting(trials=np.ones((2, 1)), alpha=np.ones(3))]
    [(2, 3), (2, 3)]
    """
    for name, array in arrays.items():
        if array.size == 0:
            raise ArgumentError(f"{name} is empty; give at least one number.")
    try:
        return list(np.broadcast_arrays(*arrays.values()))
    except ValueError as error:
        first, *others = (f"{name} {array.shape}" for name, array in arrays.items())
        *between, last = others
        shapes = f"{', '.join([first.replace(' ', ' has shape ', 1), *between])} and {last}"
        raise ArgumentError(
            f"{shapes}; give them the same shape, or all but one as single numbers, or a column "
            "against a row."
        ) from error


def correct_of_trials(
    correct: ArrayLike, trials: ArrayLike
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Counts of correct answers and of answers, broadcast to one shape.

    >>> [array.tolist() for array in correct_of_trials([8, 9], 24)]
    [[8, 9], [24, 24]]
    """
    right, total = fitting(
        correct=counts("correct", correct), trials=counts("trials", trials, at_least=1)
    )
    bad = right > total
    if bad.any():
        raise ArgumentError(
            f"correct must not exceed trials; got {_first(right, bad):g} correct "
            f"of {_first(total, bad):g}."
        )
    return right, total


def _single(name: str, array: NDArray[Any]) -> NDArray[Any]:
    if array.ndim:
        raise ArgumentError(f"{name} must be one number, got {array.size} of them.")
    return array


def _numbers(
    name: str, value: object, wanted: str = "a number or an array of numbers", finite: bool = True
) -> NDArray[np.float64]:
    if np.ma.is_masked(value):
        raise ArgumentError(f"{name} holds masked, that is missing, values; leave them out.")
    try:
        array = np.asarray(value)
        if array.dtype.kind not in "iufO" or _holds_no_number(array):
            raise TypeError
        array = array.astype(np.float64)
    except (TypeError, ValueError, OverflowError):
        shown = repr(value)
        shown = shown if len(shown) <= 60 else shown[:57] + "..."
        raise ArgumentError(f"{name} must be {wanted}; got {shown}.") from None
    if finite and not np.isfinite(array).all():
        raise ArgumentError(f"{name} must be finite; got {_first(array, ~np.isfinite(array))}.")
    return array


def _holds_no_number(array: NDArray[Any]) -> bool:
    """Whether an array of objects holds text, truth values or nothing, which float() would take."""
    return array.dtype.kind == "O" and any(
        isinstance(entry, (str, bool, np.bool_)) or entry is None for entry in array.ravel()
    )


def _first(array: NDArray[Any], where: NDArray[np.bool_]) -> float:
    return float(np.atleast_1d(array)[np.atleast_1d(where)][0])
