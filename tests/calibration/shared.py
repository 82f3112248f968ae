"""Simulated scores as tidy rows."""

import numpy as np
import pandas as pd


def tidy(names, **values):
    """Arrays of one shape as columns, beside the index along each of their named axes."""
    codes = np.indices(next(iter(values.values())).shape)
    cells = dict(zip(names.split(), codes, strict=True)) | values
    return pd.DataFrame({name: cell.ravel() for name, cell in cells.items()})
