"""How often the 95 % limits of shrunken estimates of assessors hold the truth, simulated.

The truth is that beside the others: own r, slope or scatter over the mean of theirs.

As printed by `python` on this file, seed 2026:

sensitivity (assessors, sessions, spread): all, least, most, own d-prime of a month
  (8, 8, 0.2) 0.869 0.950 0.700 0.944
  (12, 24, 0.1) 0.911 0.988 0.662 0.988
  (12, 24, 0.3) 0.921 0.962 0.725 0.977
steadiness (assessors, sittings, spread): slope, ratio of scatter
  (8, 2, 0.2) 0.907 0.945
  (8, 6, 0.2) 0.907 0.902
  (12, 12, 0.1) 0.918 0.929
  (12, 12, 0.3) 0.923 0.943
"""

from types import MappingProxyType

import numpy as np
import pandas as pd

from sensory.choices.protocols import PROTOCOLS
from sensory.panel.history import History
from sensory.panel.months import own_dprime
from sensory.panel.sensitivity import COLUMNS, sensitivity
from sensory.panel.steadiness import steadiness

SEED = 2026


def beside(own):
    """Each value over the mean of the others."""
    return own / ((own.sum() - own) / (len(own) - 1))


def by_sensitivity(people, sessions, spread, dprime=2.0, answers=3, panels=80):
    """Shares of assessors: all, the least and the most sensitive of each panel; months of the
    first, four sessions each, whose own d-prime lies within its limits."""
    rng = np.random.default_rng([SEED, people, sessions, round(100 * spread)])
    protocol, held = PROTOCOLS["TRIANGLE"], []
    session, who = (code.ravel() for code in np.indices((sessions, people)))
    for _ in range(panels):
        r = np.maximum(rng.normal(1, spread, people), 0.0)
        pc = protocol.proportion_correct(dprime * r)[who]
        columns = (session, who, "TRIANGLE", rng.binomial(answers, pc), answers)
        rows = pd.DataFrame(dict(zip(COLUMNS, columns, strict=True)))
        rows = rows.assign(assessor=[f"A{at:02}" for at in who])
        rows["held_on"] = [f"2026-{at // 4 + 1:02}-01" for at in session]
        result = sensitivity(rows)
        table, months = result.assessors, own_dprime(result, "A00")
        truth = beside(r)
        inside = (table["low"] <= truth) & (truth <= table["high"])
        held.append([inside.mean(), inside[r.argmin()], inside[r.argmax()]])
        own = (months["low"] <= dprime * r[0]) & (dprime * r[0] <= months["high"])
        held[-1].append(own.mean())
    return tuple(np.mean(held, axis=0))


def scores_of(rng, slopes, sds, sittings, samples, replicates):
    """The table of `history` for one attribute, out of simulated scores."""
    people = len(slopes)
    level = rng.normal(0, 1.5, (sittings, 1, samples, 1))
    scores = level * slopes[:, None, None] + rng.normal(0, 0.3, (sittings, people, samples, 1))
    scores = scores + rng.normal(0, 1, (sittings, people, samples, replicates)) * sds[:, None, None]
    mean = scores.mean(3)
    others = (mean.sum(1, keepdims=True) - mean) / (people - 1)
    y, x = (part - part.mean(2, keepdims=True) for part in (mean, others))
    square = scores.var(3, ddof=1).mean(2)
    rest = (square.sum(1, keepdims=True) - square) / (people - 1)
    free = samples * (replicates - 1)
    days = pd.date_range("2026-01-05", periods=sittings, freq="7D").strftime("%Y-%m-%d")
    sitting, who = (code.ravel() for code in np.indices((sittings, people)))
    columns = {
        "session": sitting,
        "held_on": days[sitting],
        "assessor": who,
        "attribute": "sour",
        "judged": True,
        "samples": samples,
        "bias": (mean - others).mean(2).ravel(),
        "sxx": (x * x).sum(2).ravel(),
        "sxy": (x * y).sum(2).ravel(),
        "syy": (y * y).sum(2).ravel(),
        "sd": np.sqrt(square).ravel(),
        "sd_df": free,
        "others_sd": np.sqrt(rest).ravel(),
        "others_df": free * (people - 1),
    }
    return pd.DataFrame(columns)


def by_steadiness(people, sittings, spread, samples=5, replicates=2, panels=100):
    """Shares of assessors whose slope and whose ratio of scatter lie within the limits."""
    rng = np.random.default_rng([SEED, people, sittings, round(100 * spread)])
    held = []
    for _ in range(panels):
        slopes = rng.normal(1, spread, people)
        sds = 0.8 * np.exp(rng.normal(0, spread, people))
        frame = scores_of(rng, slopes, sds, sittings, samples, replicates)
        past = History(sittings=(), names=(), _tables=MappingProxyType({"scores": frame}))
        table = steadiness(past).assessors.sort_values("assessor")
        slope, ratio = beside(slopes), np.sqrt(beside(sds**2))
        held.append(
            [
                ((table["low"] <= slope) & (slope <= table["high"])).mean(),
                ((table["ratio_low"] <= ratio) & (ratio <= table["ratio_high"])).mean(),
            ]
        )
    return tuple(np.mean(held, axis=0))


def table():
    yield "sensitivity (assessors, sessions, spread): all, least, most, own d-prime of a month"
    for setting in ((8, 8, 0.2), (12, 24, 0.1), (12, 24, 0.3)):
        yield f"  {setting} " + " ".join(f"{share:.3f}" for share in by_sensitivity(*setting))
    yield "steadiness (assessors, sittings, spread): slope, ratio of scatter"
    for setting in ((8, 2, 0.2), (8, 6, 0.2), (12, 12, 0.1), (12, 12, 0.3)):
        yield f"  {setting} " + " ".join(f"{share:.3f}" for share in by_steadiness(*setting))


def test_limits_of_assessors(show):
    show(*table())


if __name__ == "__main__":
    for line in table():
        print(line, flush=True)
