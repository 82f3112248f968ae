"""A signal that is acknowledged leaves Trend and Today; the baseline of the plant is kept."""

from __future__ import annotations

import pytest

from sensory.base.errors import RecordError
from sensory.release import batch_desk, day, product_desk, signal_desk
from sensory.release.batch_records import ProductRecord

from .shared import PRODUCT, held, made, triangles


@pytest.fixture
def charted(store):
    """Eleven batches, of which the last stands out."""
    for number in range(1, 12):
        made(store, f"SC-{number:02}", made_on=f"2026-03-{number:02}")
        held(store, f"SC-{number:02}", triangles(32 if number == 11 else 12, 36))
    return store


def signals(store):
    product = product_desk.the_product(store, PRODUCT)
    return signal_desk.signals_of(batch_desk.product_trend(store, PRODUCT), product)


def test_an_acknowledged_signal_leaves_the_lists_with_its_cause_and_name(charted):
    shown = signals(charted)
    signal = next(each for each in shown if each.batch == "SC-11")
    assert all(each.known is None for each in shown)
    there, more = day.open_signals(charted)
    assert (there[0].batch, more) == ("SC-11", 0)
    assert day.open_signals(charted, most=0) == ([], len(there))
    with pytest.raises(RecordError, match="what explains the signal of SC-11"):
        signal_desk.acknowledge(charted, PRODUCT, signal, cause=" ", who="Mira")
    with pytest.raises(RecordError, match="who acknowledges"):
        signal_desk.acknowledge(charted, PRODUCT, signal, cause="new press", who="")
    signal_desk.acknowledge(charted, PRODUCT, signal, cause="new  press", who="Mira")
    known = next(each.known for each in signals(charted) if each.batch == "SC-11")
    assert (known.cause, known.by, known.words) == ("new press", "Mira", signal.words)
    assert "SC-11" not in [each.batch for each in day.open_signals(charted)[0]]
    with pytest.raises(RecordError, match="already"):
        signal_desk.acknowledge(charted, PRODUCT, signal, cause="again", who="Mira")
    entry = charted.noun_entries(product_desk.the_product(charted, PRODUCT))[-1]
    assert (entry.what, entry.why, entry.who) == ("signal acknowledged", "new press", "Mira")
    kept = product_desk.the_product(charted, PRODUCT)
    assert ProductRecord.from_dict(kept.to_dict()) == kept
    assert charted.verify_noun(kept) == []

    # what the chart says anew of the same batch is open again
    held(charted, "SC-11", triangles(12, 36))
    again = [each for each in signals(charted) if each.batch == "SC-11"]
    assert all(each.known is None or each.words == signal.words for each in again)


def test_the_baseline_of_the_plant_is_kept(store):
    product = product_desk.the_product(store, PRODUCT)
    assert signal_desk.baseline(product, []) is None
    assert "base" not in product.to_dict()
    for base in (2, 201, -1):
        with pytest.raises(RecordError, match="3 to 200"):
            signal_desk.keep_baseline(store, PRODUCT, base, who="Mira")
    for base, used in ((12, 12), (0, None)):
        signal_desk.keep_baseline(store, PRODUCT, base, who="Mira")
        kept = product_desk.the_product(store, PRODUCT)
        assert kept.base == base
        assert signal_desk.baseline(kept, [None] * 400) == used
