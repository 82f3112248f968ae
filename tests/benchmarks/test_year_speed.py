"""CPU time to put the invented year on record; the anchor is sqlite3 writing the same journal.

Measured on two very busy cores: 15.6 s with the month of line grading, which is red; without it
16.3 s where the way before took 24.4 beside it. Statistics of closings are half of it: frames of
pandas around few numbers in `difference_from_control`, the scorecard and the sitting. A fifth
is the share of SQLAlchemy in 15,000 statements, a twentieth the check of each batch before it is
decided.
"""

from __future__ import annotations

import sqlite3

import sqlalchemy as sa

from sensory.release.prepared_year import load_year
from sensory.store.repository import open_store
from sensory.store.tables import journal

from ..test_demo_year import DEMO, PRODUCT
from .shared import against, cpu_of


def test_the_year_goes_on_record(capsys):
    store, done = open_store("sqlite://"), []
    ours = cpu_of(1, lambda: done.append(load_year(store, DEMO, who="Mira")))
    assert done == [PRODUCT]
    with store._engine.connect() as connection:
        rows = [tuple(map(str, row)) for row in connection.execute(sa.select(journal))]

    def plainly() -> None:
        with sqlite3.connect(":memory:") as plain:
            names = ", ".join(column.name for column in journal.c)
            plain.execute(f"CREATE TABLE journal ({names})")
            marks = ", ".join("?" * len(journal.c))
            plain.executemany(f"INSERT INTO journal VALUES ({marks})", rows)

    theirs = cpu_of(3, plainly)
    with capsys.disabled():
        print(against(f"the year, {len(rows)} entries", ours, 3, "the same by sqlite3", theirs))
