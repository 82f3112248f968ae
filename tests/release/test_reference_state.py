"""Age, validity and drift of a reference."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from sensory.base.errors import ArgumentError, RecordError
from sensory.base.findings import Finding
from sensory.release.reference_state import reference_state
from sensory.release.references import Bridge, Reference, ReferenceKind


def bridge(newer, older, estimate=0.3, se=0.1, **more):
    given = {"held_on": "2026-01-10", "finding": Finding.SIMILAR, **more}
    return Bridge(reference=newer, to=older, estimate=estimate, se=se, **given)


def reference(name="R4", **change):
    given = {
        "product": "Pear cordial",
        "kind": ReferenceKind.STORED_STABLE,
        "storage": "4 °C, dark",
        "made_on": "2026-02-01",
        "usable_until": "2026-08-01",
        "stock": 100,
        "needed": 30,
    }
    return Reference(name=name, **{**given, **change})


STEPS = (bridge("R3", "R2", 0.4), bridge("R2", "R1", 0.2))
FOURTH = reference(bridged_to_previous=bridge("R4", "R3"))


def test_age_validity_and_stock():
    state = reference_state(reference(), "2026-03-01")
    # February 2026 has 28 days; March to August 31 + 30 + 31 + 30 + 31
    assert (state.age_days, state.days_left, state.tastings_left) == (28, 153, 3)
    assert state.usable
    assert state.problems == ()
    assert state.drift is None
    assert "28 days old" in state.says()[0]


@pytest.mark.parametrize(("today", "usable"), [("2026-08-01", True), ("2026-08-02", False)])
def test_the_last_day_still_counts(today, usable):
    state = reference_state(reference(), today)
    assert state.usable is usable
    assert any("past" in line for line in state.problems) is not usable


def test_an_empty_stock_bars_it_and_an_earlier_standard_needs_none():
    empty = reference_state(reference(stock=29), "2026-03-01")
    assert not empty.usable
    assert "not enough for the 30 of a tasting" in empty.problems[0]
    earlier = reference(
        stock=0, kind=ReferenceKind.EARLIER_STANDARD, usable_until="", data={"sour": 5.0}
    )
    state = reference_state(earlier, "2030-01-01")
    assert state.usable
    assert state.days_left is None


def test_small_steps_add_up():
    """Each step is within 0.5 by its own limits or nearly; together they are 0.9."""
    state = reference_state(FOURTH, "2026-03-01", STEPS, limit=0.6)
    assert state.drift.first == "R1"
    assert [one.to for one in state.drift.route] == ["R3", "R2", "R1"]
    assert state.drift.estimate == pytest.approx(0.3 + 0.4 + 0.2)
    assert state.drift.se == pytest.approx(np.sqrt(3) * 0.1)
    # 1.959964 is the normal quantile of 0.975
    assert state.drift.limits.high == pytest.approx(0.9 + 1.959964 * np.sqrt(3) * 0.1, abs=1e-6)
    assert state.drift.within is None
    assert "within 0.6 of R1 is not shown" in state.problems[-1]
    assert "over 3 steps" in " ".join(state.says())


def test_steps_against_simulated_bridges():
    rng = np.random.default_rng(2)
    sums = rng.normal(0.3, 0.1, 100_000) + rng.normal(0.4, 0.1, 100_000)
    sums = sums + rng.normal(0.2, 0.1, 100_000)
    state = reference_state(FOURTH, "2026-03-01", STEPS)
    low, high = state.drift.limits.low, state.drift.limits.high
    assert np.mean((sums > low) & (sums < high)) == pytest.approx(0.95, abs=0.005)


def test_drift_beyond_and_within_the_limit():
    beyond = reference_state(FOURTH, "2026-03-01", STEPS, limit=0.5)
    assert beyond.drift.within is False
    assert not beyond.usable
    assert "drifted away from R1 beyond the limit" in beyond.problems[0]
    within = reference_state(FOURTH, "2026-03-01", STEPS, limit=1.3)
    assert within.drift.within is True
    assert within.usable
    assert within.problems == ()


def test_a_direct_bridge_to_the_first_goes_before_the_steps():
    direct = bridge("R4", "R1", -0.1, 0.05)
    own = dataclasses.replace(FOURTH, bridged_to_first=direct)
    state = reference_state(own, "2026-03-01", STEPS)
    assert state.drift.route == (direct,)
    assert "compared directly" in " ".join(state.says())


def test_the_later_of_two_bridges_counts():
    later = bridge("R3", "R2", -0.4, held_on="2026-01-20")
    state = reference_state(FOURTH, "2026-03-01", (later, *STEPS))
    assert state.drift.estimate == pytest.approx(0.3 - 0.4 + 0.2)


def test_findings_cannot_be_added():
    steps = tuple(dataclasses.replace(one, estimate=None, se=None) for one in STEPS)
    state = reference_state(FOURTH, "2026-03-01", steps)
    assert state.drift is None
    assert "do not show that they are small together" in state.problems[-1]


def test_reasons_and_bad_findings_are_shown():
    own = dataclasses.replace(
        FOURTH,
        bridged_to_previous=bridge("R4", "R3", finding=Finding.DIFFERENT),
        bridged_to_first=Bridge(
            reference="R4", to="R1", held_on="2026-01-10", reason="R1 is used up."
        ),
    )
    state = reference_state(own, "2026-03-01")
    assert state.took_over == (
        "Compared with R3 on 2026-01-10: different (typed, no tasting on record).",
        "Not tasted beside R1. R4 took over all the same on 2026-01-10, and who decided is not on "
        "record: R1 is used up.",
    )
    assert "drift against R1" in state.problems[0]
    assert set(state.took_over) < set(state.says())


@pytest.mark.parametrize(
    ("call", "error", "says"),
    [
        (lambda: reference_state(FOURTH, "2026-01-31"), ArgumentError, "before R4 was made"),
        (lambda: reference_state(FOURTH, "1.3.2026"), RecordError, "today must be a date"),
        (lambda: reference_state(FOURTH, "2026-03-01", limit=0), ArgumentError, "limit must be"),
        (
            lambda: reference_state(FOURTH, "2026-03-01", (bridge("R3", "R4"),)),
            ArgumentError,
            "run in a ring",
        ),
        (
            lambda: reference_state(FOURTH, "2026-03-01", (*STEPS, bridge("R3", "R0"))),
            ArgumentError,
            "end at R0 and R1",
        ),
    ],
)
def test_what_is_refused(call, error, says):
    with pytest.raises(error, match=says):
        call()


def test_a_day_knows_only_the_bridges_held_by_then():
    """Found to have drifted in summer, a reference was still good in spring."""
    checked = bridge("R2", "R1", 0.9, held_on="2026-07-30", finding=Finding.DIFFERENT)
    own = reference(
        "R2",
        bridged_to_previous=bridge("R2", "R1", 0.2),
        bridged_to_first=bridge("R2", "R1", 0.2),
        later=(checked,),
    )
    spring, summer = (reference_state(own, day, limit=0.6) for day in ("2026-07-29", "2026-07-30"))
    assert (spring.drift.estimate, spring.usable) == (0.2, True)
    assert spring.problems == ()
    assert (summer.drift.estimate, summer.usable) == (0.9, False)
    assert summer.problems[0] == "It has drifted away from R1 beyond the limit."
    assert summer.problems[-1].startswith("Compared with R1 on 2026-07-30: different")


def test_before_it_was_bridged_nothing_is_known_of_its_drift():
    step = bridge("R4", "R1", held_on="2026-02-10")
    own = reference(bridged_to_previous=step, bridged_to_first=step)
    assert reference_state(own, "2026-02-09").drift is None
    assert reference_state(own, "2026-02-10").drift.first == "R1"
