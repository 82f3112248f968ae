"""How many assessors a profile takes for its margins, from the panel's own scatter.

Why so
------
Planned by the comparison that stands on its own scatter: assessors - 1 degrees of freedom, whatever
the number of samples. What the rest of the panel adds can be counted on only where all samples
scatter alike, which no plan knows. With two samples the chance is exact. With four samples that
scatter alike (12 assessors, interaction 0.5, error 0.9, 2 replicates, margin 1; planned 0.765) it
was 0.80 in simulation with one scatter for all comparisons, and 0.754 with each comparison's own.

Two sizes: the scatter of an earlier session is an estimate, below the truth in half of all sessions
and more, and a size by it promises too much just then. So the size by an upper limit of the scatter
stands beside it, and both are named.

All attributes together: how attributes hang together is not known either. The chances of missing
add up at most (Bonferroni), so the chance for all is at least 1 less their sum.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from ..base.arrays import Name
from ..base.checks import one_count, one_number, probability
from ..base.errors import ArgumentError
from ..base.results import Cell, Table, several
from ..base.shown import Shown
from ..models.equivalence import chance_within
from ..models.multiplicity import dunnett_quantile, tukey_quantile
from .names import each_named
from .profile import Profile
from .scatter import Freedom, PanelScatter, Scatter, difference_sd, known_scatter, upper_factor

MOST_ASSESSORS = 2000
_REPLICATES = (1, 2, 3, 4)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ProfilePlan(Shown):
    """Result of `profile_plan`.

    Attributes
    ----------
    scatter : mapping of attribute to (float, float)
        Standard deviations of assessor x sample and of error, in units of the scale.
    freedom : mapping of attribute to Freedom
        What the scatter rests on; empty where it was given as numbers and is taken as known.
    margins : mapping of attribute to float
    samples, replicates, chance, alpha, beta, difference, level
        As given.
    assessors : int
        Fewest assessors for which all samples are shown to be within all margins with at least
        `chance`, if the panel scatters as estimated.
    assessors_upper : int or None
        The same if it scatters as much as the upper limit of its scatter; None where the scatter is
        taken as known, or more than 2,000 would be needed.
    notes : tuple of str
        What the reader has to know of the scatter.
    """

    scatter: Scatter
    freedom: Mapping[Name, Freedom]
    margins: Mapping[Name, float]
    samples: int
    replicates: int
    chance: float
    alpha: float
    beta: float
    difference: float
    level: float
    assessors: int
    assessors_upper: int | None
    notes: tuple[str, ...]

    def chances(
        self, assessors: int, replicates: int | None = None, *, upper: bool = False
    ) -> dict[Name, float]:
        """Exact chance, by attribute, that one sample is shown to be within the margin.

        By the estimated scatter, or by its upper limit. Raises ArgumentError for fewer than 2
        assessors, or no replicate.
        """
        people = one_count("assessors", assessors, at_least=2)
        each = self.replicates if replicates is None else replicates
        times = one_count("replicates", each, at_least=1)
        return {
            name: chance_within(
                self.margins[name],
                self._sd(name, people, times, upper),
                people - 1,
                self.beta,
                self.difference,
            )
            for name in self.margins
        }

    def together(
        self, assessors: int, replicates: int | None = None, *, upper: bool = False
    ) -> float:
        """Chance, at least, that all samples are shown to be within all margins.

        Raises ArgumentError as in `chances`.
        """
        chances = self.chances(assessors, replicates, upper=upper)
        missed = sum(1 - chance for chance in chances.values())
        return max(1 - (self.samples - 1) * missed, 0.0)

    def _sd(self, name: Name, people: int, times: int, upper: bool = False) -> float:
        """Standard deviation of a difference, by the estimate or by its upper limit."""
        sd = difference_sd(self.scatter[name], people, times)
        if not upper or name not in self.freedom:
            return sd
        return sd * float(upper_factor(*self.scatter[name], self.freedom[name], times, self.level))

    def by_replicates(self) -> Table:
        """Assessors needed with 1 to 4 replicates, and the scores that each sample then takes.

        By the estimated scatter.
        """
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
            sd = self._sd(name, people, self.replicates)
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
        by, beside = "", ""
        if self.freedom:
            by = ", by the scatter as estimated"
            size = self.assessors_upper or f"more than {MOST_ASSESSORS:,}"
            beside = f" By its upper limit ({100 * self.level:.0f} %) it takes {size}" + (
                f"; {people}: {100 * self._upper(people):.0f} %." if people > 1 else "."
            )
        return (
            f"{several(self.assessors, 'assessor')} show {of} with a chance of at least "
            f"{100 * self.chance:.0f} % if {truth or 'nothing changed'}{by}; you have {people}: "
            f"{100 * reached:.0f} %.{beside}"
        )

    def _upper(self, people: int) -> float:
        return self.together(people, upper=True)

    def __repr__(self) -> str:
        return (
            f"<ProfilePlan: {several(self.assessors, 'assessor')}, "
            f"{several(self.samples, 'sample')}, {several(self.replicates, 'replicate')}, "
            f"{several(len(self.margins), 'attribute')}>"
        )


def profile_plan(
    earlier: Profile | PanelScatter | Scatter,
    *,
    margins: float | Mapping[Name, float],
    samples: int = 2,
    replicates: int = 1,
    chance: float = 0.90,
    alpha: float = 0.05,
    beta: float = 0.05,
    difference: float = 0.0,
    level: float = 0.80,
) -> ProfilePlan:
    """How many assessors show that samples lie within the margins of a reference?

    Parameters
    ----------
    earlier : Profile, or mapping of attribute to (float, float)
        A profile that this panel made of this kind of product; or standard deviations of
        assessor x sample and of error (repeatability), in units of the scale, taken as known.
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
    level : float
        One-sided confidence of the upper limit of the scatter, at least 0.5.

    Raises
    ------
    ArgumentError
        For margins that are not above 0 or for unknown attributes, standard deviations that are
        negative or both 0, a difference not below the margin, risks outside their bounds, or where
        more than 2,000 assessors would be needed.

    Notes
    -----
    The estimated difference of two samples has the variance 2 (interaction + error / replicates) /
    assessors; two one-sided t-tests, jointly exact [1]. The scatter of an earlier session is an
    estimate, and about half of all plans by it come out too small for the true one: with
    `assessors_upper` the chance is kept in 79 of 100 plans or more (`level`), see `upper_factor`
    and `tests/calibration/test_plan_scatter.py`: the upper limit of 0.80 holds in 78.7 % at least.
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
    known = known_scatter(earlier)
    agreed = _agreed(known.scatter, margins)
    if (risk := probability("beta", beta)) >= 0.5:
        raise ArgumentError(f"beta must be below 0.5; got {risk:g}.")
    if (sure := probability("level", level)) < 0.5:
        raise ArgumentError(f"level must be at least 0.5; got {sure:g}.")
    shift = one_number("difference", difference, -1e9, 1e9)
    if far := [str(name) for name, margin in agreed.items() if abs(shift) >= margin]:
        raise ArgumentError(
            f"difference must lie within the margins; got {shift:g} for {', '.join(far)}."
        )
    times = one_count("replicates", replicates, at_least=1)
    plan = ProfilePlan(
        scatter=MappingProxyType({name: known.scatter[name] for name in agreed}),
        freedom=MappingProxyType({n: known.freedom[n] for n in agreed if n in known.freedom}),
        margins=MappingProxyType(agreed),
        samples=one_count("samples", samples, at_least=2),
        replicates=times,
        chance=probability("chance", chance),
        alpha=probability("alpha", alpha),
        beta=risk,
        difference=shift,
        level=sure,
        assessors=0,
        assessors_upper=None,
        notes=known.notes,
    )
    if (size := _fewest(plan, times)) is None:
        raise ArgumentError(
            f"so small a margin would need more than {MOST_ASSESSORS:,} assessors; choose a larger "
            "margin, fewer attributes, or more replicates."
        )
    upper = _fewest(plan, times, upper=True) if plan.freedom else None
    return replace(plan, assessors=size, assessors_upper=upper)


def _fewest(
    plan: ProfilePlan, replicates: int, *, only: Name | None = None, upper: bool = False
) -> int | None:
    """Fewest assessors that reach the wanted chance, by halving: it rises with their number."""

    def enough(people: int) -> bool:
        if only is None:
            return plan.together(people, replicates, upper=upper) >= plan.chance
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
