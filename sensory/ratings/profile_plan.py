"""How many assessors a profile takes for its margins, from the panel's own scatter.

Why so
------
Planned by the comparison that stands on its own scatter: assessors - 1 degrees of freedom, whatever
the number of samples. What the rest of the panel adds can be counted on only where all samples
scatter alike, which no plan knows. With two samples the chance is exact. With four samples that
scatter alike (12 assessors, interaction 0.5, error 0.9, 2 replicates, margin 1; planned 0.765) it
was 0.80 in simulation with one scatter for all comparisons, and 0.754 with each comparison's own.

All attributes together: how attributes hang together is not known either. The chances of missing
add up at most (Bonferroni), so the chance for all is at least 1 less their sum.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

import numpy as np

from ..base.arrays import Name
from ..base.checks import one_count, one_number, probability
from ..base.errors import ArgumentError
from ..base.results import Cell, Table, several
from ..base.shown import Shown
from ..models.equivalence import chance_within
from ..models.mean_squares import BOTH
from ..models.mixed import ERROR
from ..models.multiplicity import dunnett_quantile, tukey_quantile
from .names import each_named
from .profile import Profile
from .variance import POOLED

MOST_ASSESSORS = 2000
_REPLICATES = (1, 2, 3, 4)
Scatter = Mapping[Name, tuple[float, float]]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ProfilePlan(Shown):
    """Result of `profile_plan`.

    Attributes
    ----------
    scatter : mapping of attribute to (float, float)
        Standard deviations of assessor x sample and of error, in units of the scale.
    margins : mapping of attribute to float
    samples, replicates, chance, alpha, beta, difference
        As given.
    assessors : int
        Fewest assessors for which all samples are shown to be within all margins with at least
        `chance`.
    notes : tuple of str
        What the reader has to know of the scatter.
    """

    scatter: Scatter
    margins: Mapping[Name, float]
    samples: int
    replicates: int
    chance: float
    alpha: float
    beta: float
    difference: float
    assessors: int
    notes: tuple[str, ...]

    def chances(self, assessors: int, replicates: int | None = None) -> dict[Name, float]:
        """Exact chance, by attribute, that one sample is shown to be within the margin.

        Raises ArgumentError for fewer than 2 assessors, or no replicate.
        """
        people = one_count("assessors", assessors, at_least=2)
        each = self.replicates if replicates is None else replicates
        times = one_count("replicates", each, at_least=1)
        return {
            name: chance_within(
                self.margins[name],
                _sd(self.scatter[name], people, times),
                people - 1,
                self.beta,
                self.difference,
            )
            for name in self.margins
        }

    def together(self, assessors: int, replicates: int | None = None) -> float:
        """Chance, at least, that all samples are shown to be within all margins.

        Raises ArgumentError as in `chances`.
        """
        missed = sum(1 - chance for chance in self.chances(assessors, replicates).values())
        return max(1 - (self.samples - 1) * missed, 0.0)

    def by_replicates(self) -> Table:
        """Assessors needed with 1 to 4 replicates, and the scores that each sample then takes."""
        sizes = [(times, _fewest(self, times)) for times in _REPLICATES]
        return Table(
            columns=("replicates", "assessors", "servings of each sample"),
            rows=tuple(
                (times, size, None if size is None else times * size) for times, size in sizes
            ),
        )

    def summary(self, assessors: int | None = None) -> Table:
        """What each attribute takes by itself, and what such a panel sees in it.

        ``alone``: assessors for this attribute with `chance`. ``chance``: at `assessors`, of the
        plan if not given. ``dunnett``, ``tukey``: least significant differences there, from the
        reference and of any pair, at `alpha`, as expected from the scatter.
        """
        people = self.assessors if assessors is None else assessors
        chances, others = self.chances(people), self.samples - 1
        half = np.full((others, others), 0.5) + np.eye(others) / 2
        beside = float(dunnett_quantile(self.alpha, people - 1, half)[0])
        pair = float(tukey_quantile(self.alpha, people - 1, self.samples)[0])
        rows: list[tuple[Cell, ...]] = []
        for name, margin in self.margins.items():
            sd = _sd(self.scatter[name], people, self.replicates)
            alone = _fewest(self, self.replicates, only=name)
            least = (beside * sd, pair * sd)
            rows.append((str(name), margin, *self.scatter[name], alone, chances[name], *least))
        columns = "attribute margin interaction error alone chance dunnett tukey"
        return Table(columns=tuple(columns.split()), rows=tuple(rows))

    def says(self, people: int) -> str:
        """What so many assessors can show, in a sentence."""
        of = f"{several(len(self.margins), 'attribute')} within the margins"
        reached = self.together(people) if people > 1 else 0.0
        truth = f"the true difference is {self.difference:g}" if self.difference else ""
        return (
            f"{several(self.assessors, 'assessor')} show {of} with a chance of at least "
            f"{100 * self.chance:.0f} % if {truth or 'nothing changed'}; you have {people}: "
            f"{100 * reached:.0f} %."
        )

    def __repr__(self) -> str:
        return (
            f"<ProfilePlan: {several(self.assessors, 'assessor')}, "
            f"{several(self.samples, 'sample')}, {several(self.replicates, 'replicate')}, "
            f"{several(len(self.margins), 'attribute')}>"
        )


def profile_plan(
    earlier: Profile | Scatter,
    *,
    margins: float | Mapping[Name, float],
    samples: int = 2,
    replicates: int = 1,
    chance: float = 0.90,
    alpha: float = 0.05,
    beta: float = 0.05,
    difference: float = 0.0,
) -> ProfilePlan:
    """How many assessors show that samples lie within the margins of a reference?

    Parameters
    ----------
    earlier : Profile, or mapping of attribute to (float, float)
        A profile that this panel made of this kind of product; or standard deviations of
        assessor x sample and of error (repeatability), in units of the scale.
    margins : float or mapping of attribute to float
        As in `profile`; the attributes of the plan are those with a margin, and one number holds
        for all that `earlier` knows.
    samples : int
        Served in all, the reference among them.
    replicates : int
        Scores of each assessor for each sample.
    chance : float
        Wanted chance that every sample is shown to be within every margin.
    alpha : float
        Risk of the tests for a difference, for the least significant differences.
    beta : float
        Risk of each test for similarity, below 0.5.
    difference : float
        True difference from the reference, in units of the scale, in each attribute; below each
        margin.

    Raises
    ------
    ArgumentError
        For margins that are not above 0 or for unknown attributes, standard deviations that are
        negative or both 0, a difference not below the margin, risks outside their bounds, or where
        more than 2,000 assessors would be needed.

    Notes
    -----
    The estimated difference of two samples has the variance 2 (interaction + error / replicates) /
    assessors; two one-sided t-tests, jointly exact [1]. The scatter is taken as known: from an
    earlier session it is an estimate, and half of all plans come out too small for the true one.
    Where the earlier panel scored each sample once, both variances are known together only;
    they are taken as interaction, so that replicates promise nothing.

    References
    ----------
    [1] Schuirmann, D.J. (1987). Journal of Pharmacokinetics and Biopharmaceutics 15, 657-680.
        The joint chance: `sensory.models.equivalence`.

    Examples
    --------
    >>> plan = profile_plan({"sweet": (0.5, 0.9), "sour": (0.8, 0.9)}, margins=1.0, replicates=2)
    >>> plan
    <ProfilePlan: 25 assessors, 2 samples, 2 replicates, 2 attributes>
    >>> plan.says(16)
    '25 assessors show 2 attributes within the margins with a chance of at least 90 % if nothing \
changed; you have 16: 59 %.'
    >>> plan.by_replicates().rows[2]
    (3, 22, 66)
    """
    known, notes = _known(earlier)
    agreed = _agreed(known, margins)
    if (level := probability("beta", beta)) >= 0.5:
        raise ArgumentError(f"beta must be below 0.5; got {level:g}.")
    shift = one_number("difference", difference, -1e9, 1e9)
    if far := [str(name) for name, margin in agreed.items() if abs(shift) >= margin]:
        raise ArgumentError(
            f"difference must lie within the margins; got {shift:g} for {', '.join(far)}."
        )
    times = one_count("replicates", replicates, at_least=1)
    plan = ProfilePlan(
        scatter=MappingProxyType({name: known[name] for name in agreed}),
        margins=MappingProxyType(agreed),
        samples=one_count("samples", samples, at_least=2),
        replicates=times,
        chance=probability("chance", chance),
        alpha=probability("alpha", alpha),
        beta=level,
        difference=shift,
        assessors=0,
        notes=notes,
    )
    if (size := _fewest(plan, times)) is None:
        raise ArgumentError(
            f"so small a margin would need more than {MOST_ASSESSORS:,} assessors; choose a larger "
            "margin, fewer attributes, or more replicates."
        )
    return replace(plan, assessors=size)


def _fewest(plan: ProfilePlan, replicates: int, *, only: Name | None = None) -> int | None:
    """Fewest assessors that reach the wanted chance, by halving: it rises with their number."""

    def enough(people: int) -> bool:
        if only is None:
            return plan.together(people, replicates) >= plan.chance
        return plan.chances(people, replicates)[only] >= plan.chance

    low, high = 1, 2
    while not enough(high):
        if high >= MOST_ASSESSORS:
            return None
        low, high = high, min(2 * high, MOST_ASSESSORS)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


def _sd(scatter: tuple[float, float], assessors: int, replicates: int) -> float:
    """Standard deviation of the difference of two sample means."""
    interaction, error = scatter
    return float(np.sqrt(2 * (interaction**2 + error**2 / replicates) / assessors))


def _known(earlier: Profile | Scatter) -> tuple[dict[Name, tuple[float, float]], tuple[str, ...]]:
    """Scatter by attribute, and what has to be said of it."""
    if isinstance(earlier, Profile):
        return scatter_from(earlier.components.to_dict("records"))
    if not isinstance(earlier, Mapping) or not earlier:
        raise ArgumentError(
            "earlier must be a profile, or for each attribute its standard deviations of assessor "
            f"x sample and of error; got {earlier!r}."
        )
    known: dict[Name, tuple[float, float]] = {}
    for name, pair in earlier.items():
        if np.shape(pair) != (2,):
            raise ArgumentError(
                f"{name} must have two standard deviations, of assessor x sample and of error; "
                f"got {pair!r}."
            )
        interaction, error = (one_number(str(name), size, 0.0, 1e9) for size in pair)
        if not interaction + error:
            raise ArgumentError(f"{name} must have a scatter above 0; both numbers are 0.")
        known[name] = (interaction, error)
    return known, ()


def scatter_from(
    components: Iterable[Mapping[Any, Any]],
) -> tuple[dict[Name, tuple[float, float]], tuple[str, ...]]:
    """Scatter by attribute from rows of `Profile.components`, and what has to be said of it.

    >>> row = {"attribute": "sweet", "source": "assessor x sample and error", "sd": 0.9}
    >>> scatter_from([row])[0]
    {'sweet': (0.9, 0.0)}
    """
    parts: dict[Name, dict[str, float]] = {}
    for row in components:
        parts.setdefault(row["attribute"], {})[row["source"]] = float(row["sd"])
    known = {
        name: (sizes.get(POOLED, sizes.get(BOTH, 0.0)), sizes.get(ERROR, 0.0))
        for name, sizes in parts.items()
    }
    together = [str(name) for name, sizes in parts.items() if POOLED in sizes]
    if not together:
        return known, ()
    return known, (
        f"{', '.join(together)}: scored once a sample, so that error cannot be told from assessor "
        "x sample; more replicates promise nothing.",
    )


def _agreed(
    known: Mapping[Name, tuple[float, float]], margins: float | Mapping[Name, float]
) -> dict[Name, float]:
    given = each_named(known, margins)
    if unknown := [str(name) for name in given if name not in known]:
        raise ArgumentError(
            f"margins must be for attributes with a known scatter, {', '.join(map(str, known))}; "
            f"got {', '.join(unknown)}."
        )
    checked = {name: one_number("margins", size, 0.0, 1e9) for name, size in given.items()}
    if zero := [str(name) for name, size in checked.items() if not size]:
        raise ArgumentError(f"margins must be above 0; got 0 for {', '.join(zero)}.")
    if not checked:
        raise ArgumentError("margins must hold at least one attribute; got none.")
    return checked
