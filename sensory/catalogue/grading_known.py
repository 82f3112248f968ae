"""What is known of each grader: from samples of a known truth, of the day and of the days before.

Why so
------
The few controls of a day leave a grader's rates wide open, while those of many days are on record.
They count together, as if the grader, the controls and the spiked samples had stayed the same, for
so many days as the question agreed beforehand; which days and which product that is, is for the
desk to look up. A grader who changed within these days is named on the page *Panel*, not here: a
test of it here would take the days before away just where a poor day came by chance. Simulated
(`tests/calibration/test_known_before.py`): with ten days before and three samples of each kind a
day, 0.1 instead of 3.4 % of good batches stay open, at risks within those agreed; but where one of
three graders falls from 0.9 to 0.5 overnight, 9.9 instead of 3.5 % of batches at the limit pass.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from ..base.results import several
from ..base.spelling import same_person
from ..models.binomial import clopper_pearson
from .kind import KnownTruth

AS_BEFORE = (
    "Known samples of the days before count as if graders, controls and spiked samples were the "
    "same today: where a grader has become worse, more batches at the limit pass than stated. Who "
    "drifts is named on the page Panel."
)
_LEVEL = 0.95
_KINDS = (("hit", "hits", "spiked"), ("false", "false_alarms", "controls"))


def known_of(graders: pd.DataFrame, before: Mapping[str, KnownTruth]) -> pd.DataFrame:
    """Graders with a control and a spiked sample at the least, by name, with all their counts.

    `graders`: of the day, as `evidence.graders.check_graders` has them. `before`: of the days
    before; who is not here today is left out.
    """
    earlier = {same_person(name): truth for name, truth in before.items()}
    nothing = KnownTruth(0, 0, 0, 0)
    added = [earlier.get(same_person(str(name)), nothing) for name in graders["grader"]]
    frame = graders.copy()
    for key, part, whole in _KINDS:
        for column in (part, whole):
            frame[column] += [getattr(truth, column) for truth in added]
        counts, totals = frame[part].to_numpy(int), frame[whole].to_numpy(int)
        low, high = clopper_pearson(counts, np.maximum(totals, 1), _LEVEL)
        frame[f"{key}_low"], frame[f"{key}_high"] = low, high
    return frame.query("spiked > 0 and controls > 0").set_index("grader")


def known_samples(known: pd.DataFrame, days: int) -> str:
    """How many samples the rates stand on; `days` before count as well.

    >>> known_samples(pd.DataFrame({"spiked": [3, 2], "controls": [3, 3]}), 0)
    '3 spiked samples and 3 controls a grader at most'
    """
    most, least = int(known["spiked"].max()), int(known["controls"].max())
    told = f"{several(most, 'spiked sample')} and {several(least, 'control')} a grader at most"
    return f"{told}, of this session and the {several(days, 'day')} before" if days else told
