"""Tables of the causes: effects, variances, batches; doubts and proposals beside them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from ..base.arrays import Floats
from .cause_candidates import Candidate
from .cause_columns import REFERENCE, CauseData
from .cause_doubts import (
    Proposal,
    alike_sentences,
    capital,
    proposal,
    proposal_for_alike,
    rivals_of,
    went_with,
)
from .cause_fit import JointFit, joint_fit, share_of
from .cause_search import Search

_SIZES = ["estimate", "se", "df", "low", "high", "level", "p", "p_adjusted", "share"]
_CAUSES = ["cause", "factor", "value", "batches", *_SIZES, "named", "apart"]
DRIFT = "drift"


def effects_table(
    data: CauseData,
    candidates: Sequence[Candidate],
    steps: Search,
    named: Sequence[Candidate],
    joint: JointFit,
    level: float,
    alpha: float,
) -> pd.DataFrame:
    """The table of causes: drift and those named by their share, then the nearest others."""
    first = joint.design.shape[1] - len(named)
    rows = [_drift_row(data, joint, level, alpha)] if first > 1 else []
    places = {id(candidates[at]): turn for turn, at in enumerate(steps.named)}
    for at, each in enumerate(named):
        turn, column = places[id(each)], first + at
        effect = joint.effect(column, level)
        apart = _apart(data, each, _rest(data, joint, column), effect["estimate"])
        row = {
            **_head(data, each),
            **effect,
            "share": share_of(data, joint, column),
            "apart": apart,
        }
        p = float(steps.steps[turn].p[steps.named[turn]])
        rows.append(row | {"p_adjusted": p, "named": True})
    rows.sort(key=lambda row: (not row["named"], -row["share"]))
    rows += _others(data, candidates, steps, named, level)
    return pd.DataFrame(rows, columns=_CAUSES)


def _head(data: CauseData, each: Candidate) -> dict[str, Any]:
    against = f" rather than {each.against}" if each.against else ""
    words = " or ".join([f"{each.words}{against}", *each.alike])
    count = int(each.members[: data.tasted].sum())
    return {"cause": words, "factor": each.factor, "value": each.value, "batches": count}


def _drift_row(data: CauseData, joint: JointFit, level: float, alpha: float) -> dict[str, Any]:
    """The drift of the reference where it had gone furthest."""
    drift = joint.design[:, 1]
    far, effect = float(drift.max()), joint.effect(1, level)
    scaled = {name: effect[name] * far for name in ("estimate", "se", "low", "high")}
    whose = ""
    if REFERENCE in data.factors:
        whose = f" {data.factors[REFERENCE][int(drift.argmax())]}"
    high = drift >= far / 2
    row: dict[str, Any] = {
        "cause": f"drift of reference{whose}, at its largest",
        "factor": DRIFT,
        "value": whose.strip(),
        "batches": int(high.sum()),
        **effect,
        **scaled,
        "p_adjusted": effect["p"],
        "share": share_of(data, joint, 1),
        "named": effect["p"] <= alpha,
    }
    rest = _rest(data, joint, 1)
    beyond = rest[high] * np.sign(scaled["estimate"]) > 2 * data.se[high]
    return row | {"apart": int(beyond.sum())}


def _rest(data: CauseData, joint: JointFit, without: int) -> Floats:
    """How far the batches lie from what all but one column explain."""
    kept = [at for at in range(joint.design.shape[1]) if at != without]
    return data.values - joint.design[:, kept] @ joint.fit.coefficients[kept]


def _apart(data: CauseData, cause: Candidate, rest: Floats, estimate: float) -> int:
    own = cause.members[: data.tasted]
    return int((rest[own] * np.sign(estimate) > 2 * data.se[own]).sum())


def _others(
    data: CauseData,
    candidates: Sequence[Candidate],
    steps: Search,
    named: Sequence[Candidate],
    level: float,
) -> list[dict[str, Any]]:
    """The nearest candidate of each factor that was not named, tried beside those named."""
    last = steps.steps[-1]
    nearest: dict[str, int] = {}
    for at in np.argsort(-np.abs(last.z)):
        each = candidates[at]
        if last.z[at] != 0 and not any(each is own for own in named):
            nearest.setdefault(each.factor, int(at))
    rows = []
    for at in sorted(nearest.values(), key=lambda at: float(last.p[at])):
        joint = joint_fit(data, [*named, candidates[at]])
        column = joint.design.shape[1] - 1
        row = {**_head(data, candidates[at]), **joint.effect(column, level)}
        apart = _apart(data, candidates[at], _rest(data, joint, column), float(last.z[at]))
        row |= {
            "p_adjusted": float(last.p[at]),
            "share": share_of(data, joint, column),
            "named": False,
        }
        rows.append(row | {"apart": apart})
    return rows


def variances_table(data: CauseData, joint: JointFit) -> pd.DataFrame:
    levels = [data.tasted, *(len(data.levels(term)) for term in joint.terms[1:])]
    return pd.DataFrame({"term": joint.terms, "levels": levels, "variance": joint.fit.variances})


def batches_table(
    data: CauseData, named: Sequence[Candidate], joint: JointFit, effects: pd.DataFrame
) -> pd.DataFrame:
    """Each tasted batch with what explains it."""
    explained = joint.design[:, 1:] @ joint.fit.coefficients[1:]
    own: list[list[str]] = [[] for _ in range(data.tasted)]
    drifting = effects[(effects["factor"] == DRIFT) & effects["named"]]
    for row in drifting.to_dict("records"):
        drift = joint.design[:, 1]
        for at in np.flatnonzero(drift >= drift.max() / 2):
            own[at].append(str(row["cause"]))
    for each in named:
        for at in np.flatnonzero(each.members[: data.tasted]):
            own[at].append(str(_head(data, each)["cause"]))
    return pd.DataFrame(
        {
            "batch": data.batches[: data.tasted],
            "estimate": data.values,
            "se": data.se,
            "explained": explained,
            "rest": data.values - joint.fit.coefficients[0] - explained,
            "causes": ["; ".join(words) for words in own],
        }
    )


def beside(
    data: CauseData,
    candidates: Sequence[Candidate],
    steps: Search,
    named: Sequence[Candidate],
    joint: JointFit,
    level: float,
) -> tuple[tuple[str, ...], tuple[Proposal, ...]]:
    """Doubts and proposals of each cause named."""
    first = joint.design.shape[1] - len(named)
    doubts: list[str] = []
    proposals: list[Proposal] = []
    for at, cause in enumerate(named):
        doubts += alike_sentences(cause)
        plain = [name for name in cause.alike if not name.startswith("the change")]
        proposals += [proposal_for_alike(data, cause, name) for name in plain]
        for rival in rivals_of(candidates, steps, cause)[:2]:
            doubts.append(f"{capital(rival.words)} explains nearly as much as {cause.words}.")
            proposals.append(proposal(data, joint.design, joint.scatter, cause, rival))
        rest = _rest(data, joint, first + at)
        doubts += went_with(data, cause, rest, joint.effect(first + at, level))
    return tuple(doubts), tuple(proposals)
