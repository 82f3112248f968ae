"""Makes the invented consumer study of the cordial. Run it from this folder.

Ninety consumers had the reference of the quince cordial and four batches that lie beyond it by
0.5, 1.0, 1.6 and 2.4 points in truth, as the panel of the invented year tastes; what the panel
found has a standard error of 0.18 each. A quarter of the consumers rejects at 1.4 points in truth.
"""

from __future__ import annotations

import numpy as np
from make_demo import write_csv

SEED = 20261128
TRUTHS = {"reference": 0.0, "QS-1": 0.5, "QS-2": 1.0, "QS-3": 1.6, "QS-4": 2.4}
CONSUMERS, SE = 90, 0.18
INTERCEPT, SLOPE, SPREAD = -3.4, 1.5, 1.1


def main() -> None:
    rng = np.random.default_rng(SEED)
    found = {
        name: (0.0, 0.0) if truth == 0 else (round(truth + rng.normal(0, SE), 2), SE)
        for name, truth in TRUTHS.items()
    }
    rows = []
    for person in range(1, CONSUMERS + 1):
        tendency = rng.normal(0, SPREAD)
        for name in rng.permutation(list(TRUTHS)):
            chance = 1 / (1 + np.exp(-(INTERCEPT + SLOPE * TRUTHS[str(name)] + tendency)))
            answer = "reject" if rng.random() < chance else "accept"
            distance, se = found[str(name)]
            row = {"consumer": f"K{person:02d}", "sample": str(name), "distance": f"{distance:g}"}
            rows.append({**row, "se": f"{se:g}", "answer": answer})
    rows[41]["answer"] = ""  # one did not have the sample
    write_csv("consumers", rows)


if __name__ == "__main__":
    main()
