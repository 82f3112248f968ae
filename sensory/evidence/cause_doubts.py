"""What stands beside a cause: what went with it, who rivals it, which batches would tell.

Why so
------
A rival is another thing on record whose likelihood is at least a twentieth of that of the cause
named; spans of time are none, since each lot in use is nearly a span. Batches are proposed by what
they would add: each tasting is one more row of the same model, and those are taken that leave the
smallest standard error of the difference between the two causes.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from ..base.arrays import Bools, Floats
from .cause_candidates import Candidate, called
from .cause_columns import LINE, CauseData
from .cause_search import Search

NEAR = float(2 * np.log(20))
"""Twice the log-likelihood by which a rival may fall behind."""
_NEARLY_ALL = 0.8
_PROPOSED = 3
_RIDGE = 1e-8  # of an information; only what nothing else tells rests on it


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """Batches whose tasting would tell two causes apart.

    Attributes
    ----------
    cause, rival : str
    batches : tuple of str
        At most three, the most telling first; empty where no batch on record has one without
        the other.
    se, se_after : float
        Standard error of the difference between the two, now and after tasting them; infinite
        where the batches so far cannot tell at all.
    """

    cause: str
    rival: str
    batches: tuple[str, ...]
    se: float
    se_after: float

    @property
    def words(self) -> str:
        """The proposal as a sentence."""
        start = f"To tell {self.cause} from {self.rival}"
        if not self.batches:
            return (
                f"{start}, a batch with one and without the other is needed; none is on record: "
                "make or keep back such a batch."
            )
        now = "cannot be told now" if self.se == float("inf") else f"is {self.se:.2g} now"
        return (
            f"{start}, taste {', '.join(self.batches)}, once cleared: the standard error of their "
            f"difference {now} and would be {self.se_after:.2g}."
        )


def rivals_of(candidates: Sequence[Candidate], search: Search, cause: Candidate) -> list[Candidate]:
    """Others on record that explain nearly as much, the nearest first."""
    place = next(at for at, each in enumerate(candidates) if each is cause)
    step = search.steps[search.named.index(place)]
    gain = step.z**2
    near = [
        at
        for at in np.argsort(-gain)
        if at != place
        and candidates[at].recorded
        and candidates[at].factor != cause.factor
        and gain[at] >= max(gain[place] - NEAR, NEAR)
        and (candidates[at].members & cause.members).any()
    ]
    return [candidates[at] for at in near]


def went_with(
    data: CauseData, cause: Candidate, rest: Floats, effect: Mapping[str, float]
) -> Iterator[str]:
    """What all batches of a cause share besides, and how the others that have it lie.

    `rest`: how far each tasted batch lies from what the other causes explain; `effect`: the
    estimate of the cause with its limits. What lies apart from the cause for others is told in
    one sentence.
    """
    cleared, sign = [], float(np.sign(effect["estimate"]))
    nearest = min(sign * effect["low"], sign * effect["high"])
    for words, others, verb in _shared(data, cause):
        mean, half = _mean_of(data, others, rest, effect["level"])
        count = int(others.sum())
        if count > 2 and sign * mean + half < nearest:
            cleared.append(f"{words} ({counted(count)})")
            continue
        lie = "lies" if count == 1 else "lie"
        yield (
            f"{capital(cause.words)} {verb} {words} only, and the {counted(count)} with {words} "
            f"besides {lie} {mean:+.2f} ({mean - half:+.2f} to {mean + half:+.2f}): not enough to "
            "tell the two apart."
        )
    if cleared:
        yield (
            f"All batches of {cause.words} had {_listed(cleared)} as well; the other batches with "
            "these, as many as stand behind each, lie apart from it."
        )


def _shared(data: CauseData, cause: Candidate) -> Iterator[tuple[str, Bools, str]]:
    """Each value that all batches of a cause have, with the other tasted batches that have it."""
    own = cause.members[: data.tasted]
    for factor, values in data.factors.items():
        shared = {value for value, member in zip(values, own, strict=False) if member}
        if factor == cause.factor or len(shared) != 1 or "" in shared:
            continue
        (value,) = shared
        has = data.members(factor, value)[: data.tasted]
        words, others = called(factor, value), has & ~own
        known = words in cause.words or words in cause.alike or not others.any()
        if not known and has.mean() <= _NEARLY_ALL:
            yield words, others, "ran on" if factor == LINE else "went with"


def alike_sentences(cause: Candidate) -> Iterator[str]:
    """Other names of the same batches."""
    if cause.alike:
        yield (
            f"{capital(cause.words)} and {' and '.join(cause.alike)} are the same tasted batches: "
            "nothing here tells them apart."
        )


def proposal(data: CauseData, design: Floats, scatter: float, cause: Candidate,
             rival: Candidate) -> Proposal:  # fmt: skip
    """The batches that would tell two causes apart, by the columns already in the model."""
    both = np.column_stack([cause.members, rival.members]).astype(float)
    kept = [at for at in range(design.shape[1]) if not _same(design[:, at], both[: data.tasted])]
    rows = np.zeros((len(data.batches), len(kept) + 2))
    rows[:, 0] = 1.0  # the usual level; a batch that is not tasted yet has no other cause
    rows[: data.tasted, : len(kept)] = design[:, kept]
    rows[:, len(kept) :] = both
    tells = np.flatnonzero(both[:, 0] != both[:, 1])
    return _proposal(data, rows, scatter, (cause.words, rival.words), tells)


def proposal_for_alike(data: CauseData, cause: Candidate, other: str) -> Proposal:
    """The same for two causes of the same tasted batches, of which one was merged away."""
    value = next(
        (factor, value)
        for factor in data.factors
        for value in data.levels(factor)
        if called(factor, value) == other
    )
    has = data.members(*value)
    tells = np.flatnonzero((has != cause.members) & (np.arange(len(has)) >= data.tasted))
    named = tuple(data.batches[at] for at in tells[:_PROPOSED])
    usual = float(np.sqrt(np.median(data.se**2) / len(named))) if named else float("inf")
    return Proposal(cause=cause.words, rival=other, batches=named, se=float("inf"), se_after=usual)


def _proposal(
    data: CauseData, rows: Floats, scatter: float, names: tuple[str, str], tells: np.ndarray
) -> Proposal:
    noise = float(np.median(data.se**2))
    weight = np.zeros(len(rows))
    weight[: data.tasted] = 1 / (data.se**2 + scatter**2)
    known = (rows * weight[:, None]).T @ rows + _RIDGE * np.eye(rows.shape[1])
    before, chosen = _difference(known), []
    for _ in range(_PROPOSED):
        left = [at for at in tells if at not in chosen]
        if not left:
            break
        again = {at: _again(data, at, weight[at], noise, scatter) for at in left}
        tried = {at: known + more * np.outer(rows[at], rows[at]) for at, more in again.items()}
        best = min(left, key=lambda at: _difference(tried[at]))
        known = tried[best]
        chosen.append(best)
    return Proposal(
        cause=names[0],
        rival=names[1],
        batches=tuple(data.batches[at] for at in chosen),
        se=before if before < _RIDGE**-0.25 else float("inf"),
        se_after=_difference(known),
    )


def _again(data: CauseData, at: int, weight: float, noise: float, scatter: float) -> float:
    """What one more tasting of a batch adds to the information of its row."""
    if at >= data.tasted:
        return 1 / (noise + scatter**2)
    se = 1 / (1 / data.se[at] ** 2 + 1 / noise)
    return 1 / (se + scatter**2) - weight


def _difference(known: Floats) -> float:
    covariance = np.linalg.inv(known)
    return float(np.sqrt(covariance[-1, -1] + covariance[-2, -2] - 2 * covariance[-1, -2]))


def _same(column: Floats, both: Floats) -> bool:
    return any(np.array_equal(column, other) for other in both.T)


def _mean_of(data: CauseData, others: Bools, rest: Floats, level: float) -> tuple[float, float]:
    """Mean of other batches and half the width of its limits, by noise or scatter."""
    values, se = rest[others], data.se[others]
    spread = float(values.var(ddof=1)) if len(values) > 1 else 0.0
    error = np.sqrt(max(spread, float((se**2).mean())) / len(values))
    return float(values.mean()), float(error * ndtri((1 + level) / 2))


def _listed(names: Sequence[str]) -> str:
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def capital(text: str) -> str:
    """The text with a capital letter."""
    return f"{text[:1].upper()}{text[1:]}"


def counted(batches: int) -> str:
    """A count of batches.

    >>> counted(1), counted(12)
    ('1 batch', '12 batches')
    """
    return f"{batches} batch{'' if batches == 1 else 'es'}"
