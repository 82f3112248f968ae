"""A product on record with its rule and reference, its batches and what they taste like."""

from __future__ import annotations

from dataclasses import replace
from itertools import cycle

import numpy as np

from sensory.choices.protocols import TRIANGLE
from sensory.release import product_desk, reference_desk, tastings
from sensory.release.batch_records import BatchRecord
from sensory.release.batches import Batch
from sensory.release.references import Reference, ReferenceKind
from sensory.release.rule import ReleaseRule
from sensory.sessions import workflow
from sensory.sessions.session import StoredSession
from sensory.store.repository import Repository, open_store

from ..shared import ALL_YES

PRODUCT = "Sloe cordial"
ROLE = "release officer"
BY = {"by": "Nora Sand", "role": ROLE}
ONE = ReleaseRule(test="TRIANGLE", limit=0.4, assessors=36, decides=ROLE)
Cells = dict[int, dict[str, str]]


def with_product(store: Repository, rule: ReleaseRule) -> Repository:
    """The record, with the product, its rule and its first reference."""
    product_desk.enter_product(store, PRODUCT, who="Mira")
    product_desk.agree_rule(store, PRODUCT, rule, who="Mira", why="management")
    reference = Reference(
        name="S1",
        product=PRODUCT,
        kind=ReferenceKind.STORED_STABLE,
        made_on="2026-01-02",
        usable_until="2036-12-31",
        storage="4 °C, dark",
    )
    reference_desk.take_over(store, reference, who="Mira", why="approved recipe")
    return store


def desk_with(rule: ReleaseRule) -> Repository:
    return with_product(open_store("sqlite://"), rule)


def clear(store: Repository, number: str) -> None:
    cleared = {"food_safe": True, "allergens": ("sulphites",), "by": "Otto Brandt"}
    product_desk.clear_batch(store, number, **cleared, on="2026-03-05", who="Mira")


def made(store: Repository, number: str, *, cleared: bool = True, **more: object) -> BatchRecord:
    plain: dict = {"number": number, "product": PRODUCT, "made_on": "2026-03-04", "line": "line 1"}
    product_desk.enter_batch(store, Batch(**(plain | more)), who="Mira")
    if cleared:
        clear(store, number)
    return product_desk.the_batch(store, number)


def agreed(store: Repository, number: str, on: str = "2026-03-09") -> StoredSession:
    """The session of a tasting, its question agreed."""
    session = tastings.open_tasting(store, number, who="Mira")
    details = replace(session.details, held_on=on, leader="Mira")
    workflow.describe(store, session.id, details=details, cautions=ALL_YES, who="Mira")
    return workflow.agree(store, session.id, who="Mira")


def held(store: Repository, number: str, cells: Cells, on: str = "2026-03-09") -> StoredSession:
    session = agreed(store, number, on)
    workflow.enter_cells(store, session.id, cells, who="Mira")
    return tastings.close_and_note(store, session.id, who="Mira")


def triangles(correct: int, trials: int) -> Cells:
    cells = {}
    for line, order in zip(range(trials), cycle(TRIANGLE.orders), strict=False):
        codes = [str(101 + 3 * line + place) for place in range(3)]
        odd = next(place for place, letter in enumerate(order) if order.count(letter) == 1)
        named = codes[odd if line < correct else (odd + 1) % 3]
        ballot = {"order": order, "codes": " ".join(codes), "answer": named}
        cells[line + 2] = {"assessor": f"P{line + 1}", **ballot}
    return cells


def scores(number: str, beyond: float, seed: int, people: int = 10) -> Cells:
    """Distances from the control, the batch so far beyond the blind reference."""
    rng = np.random.default_rng(seed)
    cells = {}
    for person in range(people):
        own = 1.5 + rng.normal(0, 0.4)
        for place, (sample, extra) in enumerate((("blind reference", 0.0), (number, beyond))):
            score = np.clip(own + extra + rng.normal(0, 0.5), 0, 10)
            ballot = {"code": str(101 + 2 * person + place), "score": f"{score:.1f}"}
            cells[2 + 2 * person + place] = {
                "assessor": f"P{person + 1}", "sample": sample, **ballot
            }  # fmt: skip
    return cells
