"""Writes consumers.csv, the invented data of consumers.R; seed fixed. Run from the top."""

from pathlib import Path

import numpy as np
import pandas as pd

SAMPLES = {"reference": 0.0, "a": 0.6, "b": 1.2, "c": 1.8, "d": 2.6}


def made() -> pd.DataFrame:
    rng = np.random.default_rng(17)
    rows = []
    for person in range(1, 73):
        tendency, own, steep = rng.normal(0, [1.1, 0.9, 0.35])
        for sample, at in SAMPLES.items():
            chance = 1 / (1 + np.exp(3.0 - 1.5 * at - tendency))
            liking = 6.8 - (0.7 + steep) * at + own + rng.normal(0, 0.8)
            answer = "reject" if rng.random() < chance else "accept"
            rows.append((f"C{person:02d}", sample, at, answer, round(float(liking), 1)))
    table = pd.DataFrame(rows, columns=["consumer", "sample", "distance", "answer", "liking"])
    return table.drop(index=[12, 88, 203])  # three did not have a sample


if __name__ == "__main__":
    made().to_csv(Path("tests/evidence/r/consumers.csv"), index=False)
