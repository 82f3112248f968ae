"""Invented years of a panel as sittings: steady, or with one assessor who is not.

A month holds four triangle sessions (two triangles each; d-prime 0, 1, 2 or 3 of the panel) and
two profiles of four samples in five attributes, two replicates, on a scale of 0 to 10. Assessors
differ in level (sd 0.5), use of the scale (0.15), scatter (a factor, sd of its logarithm 0.15) and
sensitivity (0.15), as panels do.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
from scipy.special import fdtrc

from sensory.choices.protocols import TRIANGLE
from sensory.sessions.sitting import CAME, AttributeScores, Sitting

ATTRIBUTES = ("sour", "sweet", "bitter", "cooked", "fruity")
_APART = (1.2, 1.2, 1.0, 1.0, 0.15)  # of the sample means; nothing is to be seen in the last
_SAMPLES, _REPLICATES = 4, 2
MONTHS = 12


@dataclass(frozen=True, kw_only=True)
class Fault:
    """What is wrong with the last assessor."""

    drift: float = 0.0  # a month, in sour
    turned: bool = False  # in sour
    tired: float = 1.0  # factor of the scatter, from month 7 on
    guesses: bool = False
    learns: bool = False  # scatter falls from three times to once within the year


def year(rng: np.random.Generator, people: int = 10, fault: Fault = Fault()) -> list[Sitting]:
    """The sittings of a year, month after month."""
    names = tuple(f"P{place:02d}" for place in range(1, people + 1))
    level = rng.normal(0, 0.5, (people, len(ATTRIBUTES)))
    slope = rng.normal(1, 0.15, (people, len(ATTRIBUTES)))
    sd = 0.7 * np.exp(rng.normal(0, 0.15, people))
    ratio = np.abs(rng.normal(1, 0.15, people))
    if fault.turned:
        slope[-1, 0] = -0.8
    if fault.guesses:
        slope[-1], ratio[-1], sd[-1] = 0.0, 0.0, 1.5
    sittings = []
    for month in range(MONTHS):
        for number, dprime in enumerate((0.0, 1.0, 2.0, 3.0)):
            day = f"2026-{month + 1:02d}-{2 + 7 * number:02d}"
            sittings.append(_triangles(rng, names, ratio * dprime, day))
        scatter = sd.copy()
        scatter[-1] *= fault.tired if month >= 6 else 1.0
        scatter[-1] *= 3 - 2 * month / 11 if fault.learns else 1.0
        moved = level.copy()
        moved[-1, 0] += fault.drift * month
        for number in (0, 1):
            day = f"2026-{month + 1:02d}-{10 + 14 * number:02d}"
            sittings.append(_profile(rng, names, moved, slope, scatter, day))
    return sittings


def panels_of_a_plant(rng: np.random.Generator, sessions: int) -> list[Sitting]:
    """A year in which 60 assessors share many sessions: triangles of 24, and two profiles of 12
    in five sessions."""
    names = np.array([f"P{place:02d}" for place in range(1, 61)])
    sittings = []
    for number in range(sessions):
        day = (date(2026, 1, 1) + timedelta(days=364 * number // sessions)).isoformat()
        many = 12 if number % 5 in (1, 3) else 24
        people = tuple(names[np.sort(rng.permutation(60)[:many])].tolist())
        if many == 24:
            sitting = _triangles(rng, people, np.full(many, float(number % 4)), day)
        else:
            level, slope = (rng.normal(mean, sd, (many, len(ATTRIBUTES)))
                            for mean, sd in ((0, 0.5), (1, 0.15)))  # fmt: skip
            sitting = _profile(rng, people, level, slope, np.full(many, 0.7), day)
        sittings.append(replace(sitting, session=f"s{number}"))
    return sittings


def _triangles(rng, names, dprime, day) -> Sitting:
    chance = TRIANGLE.proportion_correct(dprime)
    right = rng.binomial(2, chance)
    return Sitting(
        session=f"t{day}",
        held_on=day,
        test="TRIANGLE",
        assessors=names,
        came=(CAME,) * len(names),
        correct=tuple(map(int, right)),
        trials=(2,) * len(names),
    )


def _profile(rng, names, level, slope, sd, day) -> Sitting:
    many = len(names)
    truth = rng.normal(0, 1, (len(ATTRIBUTES), 1, _SAMPLES)) * np.reshape(_APART, (-1, 1, 1))
    shift = rng.normal(0, 0.25, (len(ATTRIBUTES), many, 1))
    own = 5 + level.T[..., None] + shift + slope.T[..., None] * truth
    own = own + rng.normal(0, 0.3, own.shape)
    error = rng.normal(0, 1, (*own.shape, _REPLICATES)) * sd[:, None, None]
    means = own + error.mean(-1)
    within = error.var(-1, ddof=1).mean(-1)
    left = means - means.mean(1, keepdims=True) - means.mean(2, keepdims=True)
    left = left + means.mean((1, 2), keepdims=True)
    between = many * means.mean(1).var(-1, ddof=1)
    interaction = (left**2).sum((1, 2)) / ((many - 1) * (_SAMPLES - 1))
    p = fdtrc(_SAMPLES - 1, (many - 1) * (_SAMPLES - 1), between / interaction)
    return Sitting(
        session=f"p{day}",
        held_on=day,
        test="PROFILE",
        assessors=names,
        came=(CAME,) * many,
        samples=("A", "B", "C", "D")[:_SAMPLES],
        attributes=tuple(
            AttributeScores(
                attribute=name,
                judged=bool(p[place] <= 0.05),
                smallest=float(np.sqrt(interaction[place] * 2 / many) * 2.9),
                means=tuple(map(tuple, means[place].tolist())),
                sd=tuple(np.sqrt(within[place]).tolist()),
                sd_df=(float(_SAMPLES * (_REPLICATES - 1)),) * many,
            )
            for place, name in enumerate(ATTRIBUTES)
        ),
        control="A",
        scale=(0.0, 10.0),
    )
