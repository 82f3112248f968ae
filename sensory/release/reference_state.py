"""Age, validity and drift of a reference: may batches be compared with it today?

Small steps add up: each new reference can be similar to the one before and the last far from
the first. So a reference is compared with the first one, directly or over all its bridges.

Why so
------
A reference is compared again while in use (`Reference.later`, `compare_again`): the latest direct
comparison with the first counts, and a day knows only the bridges held by then, so that what is
found in summer does not bar the batches of winter.

Drift of a reference takes the shortest way to the first: a direct comparison, else the sum of
steps with the root of summed squares. Findings are never added: similar three times is not
similar to the first. The scale of bridges needs a direction, which an overall difference has not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from ..base.checks import one_number, probability
from ..base.errors import ArgumentError
from ..base.record_checks import iso_date
from ..base.results import Interval, several
from ..base.shown import Shown
from .references import Bridge, Reference, ReferenceKind


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """How far a reference lies from the first one."""

    first: str
    # one bridge where it was compared with the first directly; else step by step
    route: tuple[Bridge, ...]
    estimate: float  # sum of the steps; their errors are independent
    se: float
    limits: Interval  # normal limits
    # whether the drift is shown to lie below the limit (True), beyond it (False), or neither; None
    # too where no limit was given
    within: bool | None


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class ReferenceState(Shown):
    """A reference on a given day; see `reference_state`.

    Attributes
    ----------
    reference : Reference
    today : str
    age_days : int
    days_left : int or None
        Until it may not be used any more, negative afterwards; None for an earlier
        standard that has no such date.
    tastings_left : int or None
        What the stock is enough for; None where stock or need are not stated.
    drift : Drift or None
        None where it is the first, or where no bridges with estimates lead to the first.
    took_over : tuple of str
        Where it did not take over through a tasting on record that showed similarity: how it
        did, a sentence for each such bridge. They belong on every batch compared with it.
    problems : tuple of str
        Why it may not be used, or what is not shown about it.
    usable : bool
        Neither out of date nor used up, and no drift beyond the limit.
    """

    reference: Reference
    today: str
    age_days: int
    days_left: int | None
    tastings_left: int | None
    drift: Drift | None
    took_over: tuple[str, ...]
    problems: tuple[str, ...]
    usable: bool

    def says(self) -> tuple[str, ...]:
        """The state in sentences."""
        own = self.reference
        lines = [f"{own.name}, {own.kind.words}, is {several(self.age_days, 'day')} old."]
        if self.days_left is not None and self.days_left >= 0:
            lines.append(f"It may be used for {several(self.days_left, 'more day')}.")
        if self.tastings_left is not None:
            lines.append(f"The stock is enough for {several(self.tastings_left, 'tasting')}.")
        if self.drift is not None:
            lines.append(_drift_words(self.drift))
        return (*lines, *self.took_over, *self.problems)


def reference_state(
    reference: Reference,
    today: str,
    bridges: Sequence[Bridge] = (),
    *,
    limit: float | None = None,
    level: float = 0.95,
) -> ReferenceState:
    """Age, validity and drift of a reference on a day.

    Parameters
    ----------
    reference : Reference
    today : str
        ISO 8601.
    bridges : sequence of Bridge
        Of the older references of the product; its own come with it. Those held after that
        day do not count.
    limit : float, optional
        Tolerated drift against the first in either direction, on the scale of the bridges.
    level : float
        Of the limits of the drift; two-sided.

    Raises
    ------
    ArgumentError
        For a day before it was made, a limit that is not above 0, or bridges in a ring.
    RecordError
        For a day that is no date.

    Notes
    -----
    The route to the first reference is the shortest over bridges with an estimate. Over several
    steps the estimates add up and so do the squares of their standard errors: the more
    steps, the less is known. Findings cannot be added: three steps found similar do not
    show that the last is similar to the first, and that is said.

    se counts as known: of one step, 95 % limits hold the drift in 87.8, 90.9, 92.4 and 93.5 % where
    it comes from 5, 8, 12 and 20 assessors (exact; `tests/calibration/test_trend_limits.py`).

    Examples
    --------
    >>> from sensory.release.references import Bridge, Reference
    >>> step = Bridge(reference="R2", to="R1", held_on="2026-03-01", finding="SIMILAR",
    ...               estimate=0.3, se=0.1)
    >>> second = Reference(name="R2", product="Pear cordial", kind="FRESHLY_MADE",
    ...     made_on="2026-02-25", usable_until="2026-06-01",
    ...     bridged_to_previous=step, bridged_to_first=step)
    >>> state = reference_state(second, "2026-05-01", limit=0.6)
    >>> state.age_days, state.days_left, state.usable, state.drift.within
    (65, 31, True, True)
    """
    level = probability("level", level)
    if limit is not None and one_number("limit", limit, 0.0, 1e9) == 0:
        raise ArgumentError("limit must be above 0; got 0.")
    day, made = iso_date("today", today), iso_date("made_on", reference.made_on)
    age = (day - made).days
    if age < 0:
        raise ArgumentError(f"today, {day}, is before {reference.name} was made on {made}.")
    left = None
    if reference.usable_until:
        left = (iso_date("usable_until", reference.usable_until) - day).days
    enough = None
    if reference.stock is not None and reference.needed:
        enough = int(reference.stock // reference.needed)
    known = tuple(
        bridge
        for bridge in dict.fromkeys((*reference.bridges, *bridges))
        if iso_date("held_on", bridge.held_on) <= day
    )
    own = [bridge for bridge in reference.bridges if bridge in known]
    first = _first(reference, known)
    drift = None if first is None else _drift(reference.name, first, known, limit, level)
    barred = _barred(reference, left, enough, drift)
    return ReferenceState(
        reference=reference,
        today=today,
        age_days=age,
        days_left=left,
        tastings_left=enough,
        drift=drift,
        took_over=reference.took_over(today),
        problems=(*barred, *_not_shown(reference, own, first, drift, limit)),
        usable=not barred,
    )


def _first(reference: Reference, bridges: Sequence[Bridge]) -> str | None:
    """The oldest reference that bridges lead to; None where there are none."""
    direct = reference.bridged_to_first
    if direct is not None and direct in bridges:
        return direct.to
    seen, going = {reference.name}, [reference.name]
    while going:
        at = going.pop()
        following = {bridge.to for bridge in bridges if bridge.reference == at} - seen
        seen |= following
        going += sorted(following)
    ends = sorted(seen - {bridge.reference for bridge in bridges})
    if ends == [reference.name]:
        return None
    if len(ends) != 1:
        wrong = f"end at {' and '.join(ends)}" if ends else "run in a ring"
        raise ArgumentError(
            f"bridges of {reference.name} must lead to one first reference; they {wrong}."
        )
    return ends[0]


def _drift(
    name: str, first: str, bridges: Sequence[Bridge], limit: float | None, level: float
) -> Drift | None:
    route = _route(name, first, [bridge for bridge in bridges if bridge.estimate is not None])
    if not route:
        return None
    estimate = float(sum(bridge.estimate or 0.0 for bridge in route))
    se = float(np.sqrt(sum((bridge.se or 0.0) ** 2 for bridge in route)))
    half = se * float(ndtri((1 + level) / 2))
    within = None
    if limit is not None:
        if abs(estimate) + half < limit:
            within = True
        elif abs(estimate) - half > limit:
            within = False
    limits = Interval(low=estimate - half, high=estimate + half, level=level)
    return Drift(first=first, route=route, estimate=estimate, se=se, limits=limits, within=within)


def _route(name: str, first: str, bridges: Sequence[Bridge]) -> tuple[Bridge, ...]:
    """The fewest steps; of two bridges between the same references the later one."""
    in_time = sorted(bridges, key=lambda bridge: bridge.held_on)
    steps = {(bridge.reference, bridge.to): bridge for bridge in in_time}
    routes: dict[str, tuple[Bridge, ...]] = {name: ()}
    going = [name]
    while going and first not in routes:
        at = going.pop(0)
        for (newer, older), bridge in steps.items():
            if newer == at and older not in routes:
                routes[older] = (*routes[at], bridge)
                going.append(older)
    return routes.get(first, ())


def _barred(
    reference: Reference, left: int | None, enough: int | None, drift: Drift | None
) -> list[str]:
    lines = []
    if left is not None and left < 0:
        lines.append(
            f"It might be used until {reference.usable_until} and is {several(-left, 'day')} past "
            "that: a difference may be the age of the reference."
        )
    if enough == 0 and reference.kind is not ReferenceKind.EARLIER_STANDARD:
        lines.append(
            f"The stock of {reference.stock:g} servings is not enough for the "
            f"{reference.needed:g} of a tasting."
        )
    if drift is not None and drift.within is False:
        lines.append(f"It has drifted away from {drift.first} beyond the limit.")
    return lines


def _not_shown(
    reference: Reference,
    own: Sequence[Bridge],
    first: str | None,
    drift: Drift | None,
    limit: float | None,
) -> list[str]:
    if first is None:
        return []
    lines = [bridge.words() for bridge in own if bridge in reference.later and not bridge.similar]
    if drift is None and all(step.to != first or step.finding is None for step in own):
        lines.append(
            f"Its drift against {first}, the first, is not known: steps that were each found "
            "similar do not show that they are small together."
        )
    if drift is not None and limit is not None and drift.within is None:
        lines.append(f"That it lies within {limit:g} of {drift.first} is not shown.")
    return lines


def _drift_words(drift: Drift) -> str:
    how = "compared directly" if len(drift.route) == 1 else f"over {len(drift.route)} steps"
    low, high = drift.limits.low, drift.limits.high
    return (
        f"It lies {drift.estimate:+.2f} from {drift.first}, the first ({how}; "
        f"{100 * drift.limits.level:g} % limits {low:+.2f} to {high:+.2f})."
    )
