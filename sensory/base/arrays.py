"""Arrays by what they hold, and what numpy and pandas hand out under no narrower name."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

Numbers = Any
"""One number, or an array of numbers shaped like the input; empty cells None or masked."""
Name = Any
"""What a column of names holds: text, a number or a date."""
Row = Mapping[Hashable, Any]
"""A row of a table of results, its cells by column."""
