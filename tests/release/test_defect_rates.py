"""A defect's rate of late against the days before: exact tails, false alarms, the signal."""

from __future__ import annotations

from itertools import product
from math import comb

import numpy as np
import pytest
from scipy.stats import fisher_exact, hypergeom

from sensory.base.errors import ArgumentError
from sensory.base.findings import Finding
from sensory.models.binomial import hypergeometric_tail
from sensory.release.batch_records import BatchRecord, ProductRecord, Tasting
from sensory.release.batches import Batch, Product
from sensory.release.defect_rates import defect_rises
from sensory.release.signal_desk import signals_of_rises
from sensory.release.signals import Acknowledged


def graded(number: int, day: str, *defects: str) -> BatchRecord:
    batch = Batch(number=f"SC-{number:03}", product="Sloe cordial", made_on=day, line="line 3")
    tasting = Tasting(
        session=f"s{number}", test="GRADING", held_on=day, finding=Finding.SIMILAR,
        defects=dict.fromkeys(defects, (1, 3)),
    )  # fmt: skip
    return BatchRecord(batch=batch, tastings=(tasting,))


def series(*days: tuple[str, int, int]) -> list[BatchRecord]:
    """Days with so many batches, the first of which are flat."""
    made = [(day, at < flat) for day, batches, flat in days for at in range(batches)]
    return [graded(at, day, *["flat"] * flat) for at, (day, flat) in enumerate(made)]


BEFORE = [("2026-05-05", 12, 1), ("2026-05-12", 12, 0)]
RISEN = [*BEFORE, ("2026-11-03", 8, 1), ("2026-11-05", 8, 7), ("2026-11-10", 8, 8)]


def test_the_tail_is_that_of_every_draw():
    for total, marked, drawn in ((7, 3, 4), (9, 5, 5), (6, 6, 2), (5, 0, 3)):
        ways = [comb(marked, k) * comb(total - marked, drawn - k) for k in range(drawn + 1)]
        for hits in range(drawn + 1):
            exact = sum(ways[hits:]) / comb(total, drawn)
            assert hypergeometric_tail(hits, drawn, marked, total) == pytest.approx(
                exact, abs=1e-12
            )
    rng = np.random.default_rng(4)
    total = rng.integers(50, 3000, 200)
    drawn, marked = rng.integers(1, total + 1), rng.integers(0, total + 1)
    hits = rng.hypergeometric(marked, total - marked, drawn) + rng.integers(0, 4, 200)
    theirs = hypergeom.sf(hits - 1, total, marked, drawn)
    np.testing.assert_allclose(
        hypergeometric_tail(hits, drawn, marked, total), theirs, rtol=1e-8, atol=1e-280
    )


def test_a_rise_is_named_with_its_counts_and_first_batch():
    (rise,) = defect_rises(series(*RISEN)).rises
    assert (rise.lately, rise.graded, rise.before, rise.graded_before) == (16, 24, 1, 24)
    assert rise.p == pytest.approx(fisher_exact([[16, 8], [1, 23]], "greater").pvalue)
    assert (rise.since, rise.batch, rise.newest) == ("2026-10-14", "SC-024", "SC-047")
    # The day before, 8 of 16 against 1 of 24, 1 in 1,500 by chance, was not enough for 1 in 5,000.
    assert defect_rises(series(*RISEN[:-1])).rises == ()
    # What comes later leaves the first batch of the rise as it is.
    later = defect_rises(series(*RISEN, ("2026-11-17", 8, 8))).rises
    assert [(each.batch, each.lately) for each in later] == [("SC-024", 24)]


def test_every_defect_that_was_named_has_its_share_of_the_risk():
    """One that is enough alone is not among five."""
    alone = series(*BEFORE, ("2026-11-03", 24, 13))
    assert defect_rises(alone).rises
    others = [graded(100 + at, "2026-05-05", f"defect {at}") for at in range(4)]
    p = fisher_exact([[13, 11], [1, 27]], "greater").pvalue
    assert 0.05 / 250 / 5 < p < 0.05 / 250
    assert defect_rises([*alone, *others]).rises == ()


def test_false_alarms_of_all_orders_stay_within_what_is_stated():
    """Four days of two batches: every outcome of a rate of 0.4, by its chance."""
    days = ["2026-05-04", "2026-05-05", "2026-11-09", "2026-11-10"]
    alarm = 0.0
    for counts in product(range(3), repeat=4):
        chance = np.prod([comb(2, n) * 0.4**n * 0.6 ** (2 - n) for n in counts])
        rows = [(day, 2, n) for day, n in zip(days, counts, strict=True)]
        seen = [defect_rises(series(*rows[: end + 1]), alpha=0.4, looks=4) for end in range(4)]
        alarm += chance * any(each.rises for each in seen)
    assert 0 < alarm <= 0.4


def test_an_acknowledged_rise_stays_so_while_it_goes_on():
    rises = defect_rises(series(*RISEN))
    record = ProductRecord(product=Product(name="Sloe cordial"))
    (signal,) = signals_of_rises(rises, record)
    assert (signal.place, signal.known) == ("flat", None)
    assert signal.says == (
        "'flat' is named in more batches than before: 16 of 24 graded since 14 October 2026, "
        "1 of 24 before (p < 0.001)"
    )
    kept = Acknowledged(
        batch=signal.batch, attribute="", words=signal.words, cause="pump", by="Mira",
        on="2026-11-11",
    )  # fmt: skip
    known = ProductRecord(product=record.product, signals=(kept,))
    later = defect_rises(series(*RISEN, ("2026-11-17", 8, 8)))
    assert [each.known for each in signals_of_rises(later, known)] == [kept]


def test_nothing_before_is_said_and_impossible_numbers_are_refused():
    first = defect_rises(series(*BEFORE[:1]))
    assert (first.rises, first.compared, first.since) == ((), False, "2026-04-08")
    with pytest.raises(ArgumentError, match="lately"):
        defect_rises([], lately=0)
    with pytest.raises(ArgumentError, match="looks"):
        defect_rises([], looks=0)
