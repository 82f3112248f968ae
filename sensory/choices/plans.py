"""What the people at hand can conclude, and the cheapest change that would do."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from ..base.errors import ArgumentError
from ..base.findings import Finding
from ..base.results import Table, several
from ..base.shown import Shown
from .counts import check_protocol
from .dprime import carried_pd
from .protocols import Protocol
from .risks import SessionRisks, session_risks
from .size import deciding_size, fair_pass_size, operating_characteristic, panel_size
from .two_stage import TwoStagePlan, two_stage_plan

_TRUTHS = np.linspace(0.0, 0.7, 71)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class PanelPlan(Shown):
    """Result of `panel_plan`.

    Attributes
    ----------
    risks : SessionRisks
        Of a session of the people at hand.
    both_risks, both_risks_stable : int
        Assessors that keep alpha and beta: the first such size and the stable one.
    fair_pass : int
        Assessors that let an unchanged product pass with a chance of 90 % (stable).
    decided : int
        Assessors that reach a decision with a chance of 90 % if nothing changed (stable).
    truths : tuple of float
        True proportions of distinguishers for the curves.
    curves : dict of Finding to tuple of float
        Chance of each finding along `truths`.
    other : tuple of (Protocol, int)
        The other protocols for the same d-prime and the people each needs, fewest first.
    smallest_limit : float or None
        The smallest limit in steps of 1 % at which the people at hand would let an
        unchanged product pass with a chance of 90 %; None when not even 99 % would do.
    two_stage : TwoStagePlan or None
        The plan in two tastings with at most as many answers as a quarter more than
        `both_risks`; None above 120 answers, and for a two-sided question.
    """

    protocol: Protocol
    risks: SessionRisks
    both_risks: int
    both_risks_stable: int
    fair_pass: int
    decided: int
    truths: tuple[float, ...]
    curves: dict[Finding, tuple[float, ...]]
    other: tuple[tuple[Protocol, int], ...]
    smallest_limit: float | None
    two_stage: TwoStagePlan | None

    @property
    def enough(self) -> bool:
        """Whether the people at hand keep both risks."""
        return self.risks.deciding_size == self.risks.trials

    def sizes(self) -> Table:
        """Sizes for the wishes that people have."""
        return Table(
            columns=("wish", "assessors"),
            rows=(
                ("both risks kept (first size, as in printed tables)", self.both_risks),
                ("both risks kept, and by every larger panel", self.both_risks_stable),
                ("an unchanged product passes with 90 % chance", self.fair_pass),
                ("a decision with 90 % chance if nothing changed", self.decided),
            ),
        )

    @property
    def take(self) -> int:
        """The number to take: the people at hand where they keep both risks, else more.

        Larger is not always better: counts move in steps, so a panel of more may keep one risk
        less, and the next size that keeps both is taken.

        >>> from sensory.choices.protocols import TRIANGLE
        >>> panel_plan(TRIANGLE, 24).take, panel_plan(TRIANGLE, 66).take
        (66, 66)
        """
        have = self.risks.trials
        if have < self.both_risks:
            return self.both_risks
        return self.risks.deciding_size or self.both_risks_stable

    @property
    def choices(self) -> tuple[int, ...]:
        """The sizes to choose from: what to take, the people at hand, the first that would do."""
        return tuple(dict.fromkeys((self.take, self.risks.trials, self.both_risks)))

    def heading(self) -> str:
        """Whether the people at hand are enough, in a line.

        >>> from sensory.choices.protocols import TRIANGLE
        >>> panel_plan(TRIANGLE, 24).heading(), panel_plan(TRIANGLE, 66).heading()
        ('Too few: take 66.', '66 is enough.')
        """
        have = self.risks.trials
        if self.enough:
            return f"{have} is enough."
        if have < self.both_risks:
            return f"Too few: take {self.take}."
        return f"{have} just misses: take {self.take}."

    def verdict(self) -> str:
        """What the people at hand can and cannot conclude, in words."""
        risks = self.risks
        limit = f"{round(100 * risks.pd_limit, 1):g} %"
        can = (
            f"With {risks.trials} assessors, a difference that {limit} of people notice is found "
            f"with a chance of {100 * risks.power:.0f} %, and an unchanged product is shown to be "
            f"similar with a chance of {100 * risks.fair_pass:.0f} %."
        )
        if self.enough:
            return can + " Every outcome decides."
        return can + " Other outcomes leave the question open; they are no 'pass'."

    def changes(self) -> tuple[str, ...]:
        """What would have to change for both risks to be kept, the cheapest first."""
        if self.enough:
            return ()
        more = self.take - self.risks.trials
        lines = [(more, f"{several(more, 'more assessor')}, {self.risks.trials + more} in all.")]
        if self.other and self.other[0][1] < self.both_risks:
            protocol, size = self.other[0]
            extra = max(size - self.risks.trials, 0)
            lines.append(
                (
                    extra,
                    f"A {protocol.name} test: {size} assessors for the same d-prime"
                    f" ({protocol.coded} samples each).",
                )
            )
        sentences = [sentence for _, sentence in sorted(lines, key=lambda line: line[0])]
        if self.two_stage is not None:
            plan = self.two_stage
            sentences.append(
                f"Two tastings: {plan.first} answers, then {plan.second} more only if the first "
                f"do not decide; {plan.expected:.0f} on average."
            )
        if self.smallest_limit is not None and self.smallest_limit > self.risks.pd_limit:
            sentences.append(
                f"A wider limit: at {100 * self.smallest_limit:.0f} % instead of "
                f"{round(100 * self.risks.pd_limit, 1):g} % an unchanged product would pass with "
                "90 % chance. That is a decision about the product, not about statistics."
            )
        return tuple(sentences)


def panel_plan(
    protocol: Protocol | str,
    people: int,
    *,
    alpha: float = 0.05,
    beta: float = 0.05,
    pd_limit: float = 0.30,
    two_sided: bool = False,
    instead: Sequence[Protocol | str] = (),
) -> PanelPlan:
    """Plan a forced-choice session for the people at hand.

    Parameters
    ----------
    protocol : Protocol or str
        A name will do, as "triangle".
    people : int
        Assessors who can come, one answer each.
    alpha, beta, pd_limit, two_sided
        As in `choice_test`; every size and chance is then that of a two-sided question.
    instead : sequence of Protocol
        Other protocols that would answer the same question. One that names an attribute stands
        for no other one that does not, nor the other way round: what is perceived in one
        attribute is not the whole difference. One that needs an expected direction stands for
        no two-sided question.

    Raises
    ------
    ArgumentError
        As in `session_risks` and `panel_size`.

    Examples
    --------
    >>> from sensory.choices.protocols import TETRAD, TRIANGLE
    >>> plan = panel_plan(TRIANGLE, 24, instead=[TETRAD])
    >>> plan.both_risks, plan.fair_pass, [size for _, size in plan.other]
    (66, 58, [23])
    >>> plan.changes()[0]
    'A tetrad test: 23 assessors for the same d-prime (4 samples each).'
    """
    protocol = check_protocol(protocol, two_sided)
    others = [check_protocol(other) for other in instead]
    agreed = {"alpha": alpha, "beta": beta, "pd_limit": pd_limit}
    risks = session_risks(protocol, people, two_sided=two_sided, **agreed)
    size = partial(panel_size, protocol, alpha=alpha, beta=beta, pd=pd_limit, two_sided=two_sided)
    first, stable = size().assessors, size(rule="stable").assessors
    curves = operating_characteristic(
        protocol, risks.trials, pd=_TRUTHS, two_sided=two_sided, **agreed
    )
    return PanelPlan(
        protocol=protocol,
        risks=risks,
        both_risks=first,
        both_risks_stable=stable,
        fair_pass=fair_pass_size(
            protocol, beta=beta, pd_limit=pd_limit, rule="stable", two_sided=two_sided
        ),
        decided=deciding_size(protocol, pd=0.0, rule="stable", two_sided=two_sided, **agreed),
        truths=tuple(_TRUTHS.tolist()),
        curves={finding: tuple(chances.tolist()) for finding, chances in curves.items()},
        other=_others(protocol, others, alpha, beta, pd_limit, two_sided),
        smallest_limit=_smallest_limit(protocol, risks.trials, beta, two_sided),
        two_stage=None if two_sided else _two_stage(protocol, first, alpha, beta, pd_limit),
    )


def _others(
    protocol: Protocol,
    instead: Sequence[Protocol],
    alpha: float,
    beta: float,
    pd_limit: float,
    two_sided: bool,
) -> tuple[tuple[Protocol, int], ...]:
    """The protocols that would answer the same question, with their sizes, fewest first."""
    sizes = []
    for other in instead:
        answers = other.asks_attribute is protocol.asks_attribute
        if other is protocol or not answers or (two_sided and not other.reversible):
            continue
        carried = carried_pd(pd_limit, source=protocol, target=other)
        size = panel_size(other, alpha=alpha, beta=beta, pd=carried, two_sided=two_sided)
        sizes.append((other, size.assessors))
    return tuple(sorted(sizes, key=lambda size: size[1]))


def _smallest_limit(protocol: Protocol, people: int, beta: float, two_sided: bool) -> float | None:
    """In hundredths; the chance of a fair pass never falls where the limit is wider."""

    def passes(step: int) -> bool:
        risks = session_risks(protocol, people, beta=beta, pd_limit=step / 100, two_sided=two_sided)
        return risks.fair_pass >= 0.90

    steps = range(1, 100)
    place = bisect_left(steps, True, key=passes)
    return steps[place] / 100 if place < len(steps) else None


def _two_stage(
    protocol: Protocol, single: int, alpha: float, beta: float, pd_limit: float
) -> TwoStagePlan | None:
    cap = single + single // 4 + 2
    if cap > 120:
        return None
    try:
        return two_stage_plan(protocol, most=cap, alpha=alpha, beta=beta, pd_limit=pd_limit)
    except ArgumentError:  # possible at extreme risks: then there is no such plan to offer
        return None
