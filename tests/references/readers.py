"""The reference files of this folder, entry by entry."""

import json
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent

KINDS = {
    "standard": ("source", "copy"),
    "book": ("source", "copy"),
    "paper": ("source", "copy"),
    "document": ("source", "copy"),
    "program": ("source", "copy"),
    "memory": ("memory",),
    "own": ("own",),
}
"""What a printed value comes from, and how that may have been seen.

'memory' and 'own' (notes and computations of this project) are no outside checks.
"""


def entries(name, *parts):
    """Entries of `parts` of a file ('values' unless said), by their id."""
    held = json.loads((HERE / name).read_text(encoding="utf-8"))
    found = [entry for part in parts or ("values",) for entry in held[part]]
    assert len({entry["id"] for entry in found}) == len(found)
    return {entry["id"]: entry for entry in found}


def flat(printed, tolerance):
    """Pairs of a printed number and its tolerance, out of nested lists and mappings."""
    if isinstance(printed, dict):
        for name, value in printed.items():
            yield from flat(value, tolerance[name] if isinstance(tolerance, dict) else tolerance)
    elif isinstance(printed, list):
        several = tolerance if isinstance(tolerance, list) else [tolerance] * len(printed)
        for value, close in zip(printed, several, strict=True):
            yield from flat(value, close)
    else:
        yield float(printed), float(tolerance)


def away(entry, ours):
    """Distance of our numbers from the printed ones in tolerances; NaN where ours are None."""
    numbers = [np.nan if value is None else float(value) for value in ours]
    printed = list(flat(entry["expected"], entry["tolerance"]))
    rounding = 1e-12  # a tolerance of 0 means equal, rounding of our own apart
    return np.array(
        [
            abs(value - number) / (close + rounding * max(1.0, abs(number)))
            for value, (number, close) in zip(numbers, printed, strict=True)
        ]
    )
