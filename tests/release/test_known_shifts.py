"""Shifts that a lot or a reference explains are stated once; everything else goes on standing out.

The numbers by a second route: weighted means by hand, and the share of quiet years in which
something is explained by simulation.
"""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from sensory.models.charts import RUN_RULES
from sensory.release.batches import Batch, RawLot
from sensory.release.known_shifts import changes_of, known_shifts, within_references
from sensory.release.plant import Plant

LONG = 30
BASE = 10
LOT = range(14, 20)


def points(away, sigma=0.25):
    """One line of batches this far from the centre."""
    away = np.asarray(away, float)
    names = [f"B{at:02}" for at in range(len(away))]
    rows = {"batch": names, "line": "line 1", "date": range(len(away)), "signals": ""}
    return pd.DataFrame({**rows, "estimate": away + 0.1, "centre": 0.1, "sigma": sigma})


def lots(**spans):
    """Batches by lot."""
    return {name: {f"B{at:02}" for at in span} for name, span in spans.items()}


def quiet(seed=5):
    return np.random.default_rng(seed).normal(0, 0.25, LONG)


def raised(size=1.0, span=LOT):
    away = quiet()
    away[list(span)] += size
    return away


OTHERS = lots(a=range(14), c=range(20, 30))


def test_a_lot_that_lies_high_is_one_shift_with_its_weighted_mean():
    away = raised()
    ((shift,), taken) = known_shifts(points(away), OTHERS | lots(b=LOT), BASE)
    assert shift.names == ("b",)
    assert shift.batches == tuple(f"B{at}" for at in LOT)
    assert shift.size == pytest.approx(away[list(LOT)].mean())  # equal weights
    reach = 1.959964 * 0.25 * (1 / len(LOT) + 1 / BASE) ** 0.5
    assert (shift.low, shift.high) == pytest.approx((shift.size - reach, shift.size + reach))
    assert taken == pytest.approx(np.isin(np.arange(LONG), LOT) * shift.size)
    assert shift.words == "all batches with b lie above the usual level"
    assert shift.numbers.startswith(f"6 batches, {shift.size:.2f} (")


@pytest.mark.parametrize(
    ("away", "why"),
    [
        (raised(3.0, [16]), "one bad batch is not the fault of its lot"),
        (quiet() + np.clip((np.arange(LONG) - 10) * 0.08, 0, None), "a drift begins with no lot"),
        (quiet(), "nothing lies high"),
        (raised(1.0, range(12, 24)), "the step is older than the lot and outlives it"),
    ],
)
def test_what_no_lot_explains_stays(away, why):
    shifts, taken = known_shifts(points(away), OTHERS | lots(b=LOT), BASE)
    assert shifts == (), why
    assert not taken.any()


def test_batches_that_set_what_is_usual_and_all_batches_explain_nothing():
    changes = lots(base=range(10), every=range(LONG), two=range(14, 16))
    assert known_shifts(points(raised()), changes, BASE)[0] == ()


def test_what_changed_together_is_named_together():
    changes = OTHERS | lots(b=LOT, flavour=range(14, 21))
    ((shift,), _) = known_shifts(points(raised()), changes, BASE)
    assert set(shift.names) == {"b", "flavour"}
    assert f"(changed together: {shift.names[1]})" in shift.words


def test_quiet_years_are_seldom_explained():
    """At most 0.05 of them by the rule; 400 years, so 0.05 +- 0.033."""
    changes = lots(a=range(8), b=range(8, 15), c=range(15, 22), d=range(22, 30))
    rng = np.random.default_rng(2)
    years = [known_shifts(points(rng.normal(0, 0.25, LONG)), changes, BASE)[0] for _ in range(400)]
    assert np.mean([bool(shifts) for shifts in years]) < 0.05 + 0.033


def test_a_run_does_not_reach_across_a_change_of_reference():
    run, limit = RUN_RULES["nine on one side"].words, RUN_RULES["limit"].words
    charted = points(np.zeros(12)).assign(signals=[""] * 8 + [run, f"{limit}; {run}", run, run])
    same = within_references(charted, {f"B{at:02}": "R1" for at in range(12)})
    assert same["signals"].tolist() == charted["signals"].tolist()
    renewed = {f"B{at:02}": "R1" if at < 2 else "R2" for at in range(12)}
    left = within_references(charted, renewed)["signals"].tolist()
    assert left[8:] == ["", limit, run, run]


def test_changes_are_gathered_by_material_and_reference_whatever_their_spelling():
    def record(name, lot, reference):
        raw = (RawLot(material="Sweetener", lot=lot),)
        batch = Batch(number=name, product="P", made_on="2026-01-01", raw_lots=raw)
        return SimpleNamespace(name=name, batch=batch, reference=reference)

    records = [record("B1", "SW-1", "R1"), record("B2", "sw-1", "R1"), record("B3", "SW-2", "")]
    gathered = changes_of(records, Plant())
    assert sorted(map(sorted, gathered.values())) == [["B1", "B2"], ["B1", "B2"], ["B3"]]
    assert "reference R1" in gathered
