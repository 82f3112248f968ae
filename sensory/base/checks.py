"""Checks of arguments: each returns the checked value or raises one clear sentence."""

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


def probability(name: str, value: Any) -> float:
    """A single number strictly between 0 and 1."""
    if isinstance(value, str):
        raise ArgumentError(f"{name} must be a number between 0 and 1; got the text {value!r}.")
    array = _numbers(name, value)
    if array.ndim:
        raise ArgumentError(f"{name} must be one number, got {array.size} of them.")
    checked = float(array)
    if not 0.0 < checked < 1.0:
        hint = f" For {checked:g} % write {checked / 100:g}." if 1 <= checked < 100 else ""
        raise ArgumentError(f"{name} must lie strictly between 0 and 1; got {checked:g}.{hint}")
    return checked


def counts(name: str, value: ArrayLike, *, at_least: int = 0) -> NDArray[np.int64]:
    """Whole numbers from `at_least` to ten million, as an integer array of any shape."""
    array = _numbers(name, value)
    if array.size == 0:
        raise ArgumentError(f"{name} is empty; give at least one number.")
    bad = array != np.floor(array)
    if bad.any():
        raise ArgumentError(f"{name} must be whole numbers; got {_first(array, bad):g}.")
    bad = array < at_least
    if bad.any():
        raise ArgumentError(f"{name} must be at least {at_least}; got {_first(array, bad):g}.")
    bad = array > MOST_TRIALS
    if bad.any():
        raise ArgumentError(f"{name} must be at most {MOST_TRIALS:,}; got {_first(array, bad):g}.")
    return array.astype(np.int64)


def correct_of_trials(
    correct: ArrayLike, trials: ArrayLike
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Counts of correct answers and of answers, broadcast to one shape."""
    right = counts("correct", correct)
    total = counts("trials", trials, at_least=1)
    try:
        right, total = np.broadcast_arrays(right, total)
    except ValueError as error:
        raise ArgumentError(
            f"correct has shape {right.shape} and trials {total.shape}; "
            "give them the same shape, or one of them as a single number."
        ) from error
    bad = right > total
    if bad.any():
        raise ArgumentError(
            f"correct must not exceed trials; got {_first(right, bad):g} correct "
            f"of {_first(total, bad):g}."
        )
    return right, total


def _numbers(name: str, value: Any) -> NDArray[np.float64]:
    if isinstance(value, (bool, np.bool_)):
        raise ArgumentError(f"{name} must be a number; got {value}.")
    try:
        array = np.asarray(value)
    except ValueError as error:
        raise ArgumentError(f"{name} must be a number or a regular array of numbers.") from error
    if array.dtype == np.bool_ or array.dtype.kind in "USOmMcV":
        shown = repr(value)
        shown = shown if len(shown) <= 60 else shown[:57] + "..."
        raise ArgumentError(f"{name} must be a number or an array of numbers; got {shown}.")
    array = array.astype(np.float64)
    if not np.isfinite(array).all():
        raise ArgumentError(f"{name} must be finite; got {_first(array, ~np.isfinite(array))}.")
    return array


def _first(array: NDArray[Any], where: NDArray[np.bool_]) -> float:
    return float(np.atleast_1d(array)[np.atleast_1d(where)][0])
