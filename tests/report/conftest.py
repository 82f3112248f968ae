"""A made-up year of batches of a rhubarb cordial, with a step in one line."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from sensory.base.findings import Finding
from sensory.release.batch_records import BatchRecord, Decision, Tasting
from sensory.release.batches import Batch, Clearance, Disposition
from sensory.release.rule import ReleaseRule

SCORES = ReleaseRule(test="DIFFERENCE_FROM_CONTROL", limit=1.5, assessors=12, scatter=1.1)
CHOICES = ReleaseRule(test="TRIANGLE", limit=0.30, assessors=66)


def one_batch(number, made_on, line, tasting, rule, decided=True):
    what = rule.at(tasting.finding)
    decision = Decision(
        disposition=what,
        decided_by="N. Example",
        role=rule.decides,
        decided_at=f"{made_on}T12:00:00+00:00",
        reason="as recommended" if what is Disposition.RELEASE else "too sweet",
        recommended=what,
        finding=tasting.finding,
    )
    cleared = {"food_safe_by": "food safety", "food_safe_on": made_on}
    return BatchRecord(
        batch=Batch(number=number, product="Rhubarb cordial", made_on=made_on, line=line),
        clearance=Clearance(
            batch=number,
            food_safe=True,
            allergens=("sulphites",),
            allergens_by="QA",
            allergens_on=made_on,
            **cleared,
        ),
        reference="R1",
        tastings=(tasting,),
        recommended=what,
        decisions=(decision,) if decided else (),
    )


def a_year(count=40, lines=("line 1", "line 2"), rule=SCORES, seed=5, days=360, until="2026-05-31"):
    """Batches spread over the days before a date; the first line steps at two thirds."""
    rng = np.random.default_rng(seed)
    first = date.fromisoformat(until) - timedelta(days=days)
    found = []
    for at in range(count):
        line = lines[at % len(lines)]
        made_on = (first + timedelta(days=at * days // count)).isoformat()
        truth = 0.2 + 0.9 * (at % len(lines) == 0 and at > 0.65 * count)
        tasting = Tasting(session=f"s{at}", test=rule.test, held_on=made_on)
        if rule.protocol:
            correct = int(rng.binomial(66, 1 / 3 + 0.2 * truth))
            finding = Finding.SIMILAR if correct <= 28 else Finding.DIFFERENT
            tasting = replace(tasting, finding=finding, correct=correct, trials=66)
        else:
            se = float(rng.uniform(0.18, 0.35))
            estimate = float(rng.normal(truth, np.hypot(0.15, se)))
            finding = Finding.SIMILAR if estimate + 1.8 * se < 1.5 else Finding.DIFFERENT
            tasting = replace(tasting, finding=finding, differences={"difference": (estimate, se)})
        waits = at >= count - 2
        found.append(one_batch(f"RC-{at:03}", made_on, line, tasting, rule, decided=not waits))
    return found


@pytest.fixture(scope="session")
def year():
    """The function that makes a year, its two rules as attributes."""
    a_year.scores, a_year.choices = SCORES, CHOICES
    return a_year
