"""CPU time to put the invented year on record; the anchor is sqlite3 writing the same journal.

Measured on two busy cores: 21.3 s, which is red. A third of the year, 25 tastings, took 6.7 to
7.4 s with the scorecard computed twice a closing, 4.8 to 5.6 s since it is computed once. What is
left: more than half are the statistics of closings, one panel after another, most of it pandas
around few numbers; the rest writes, reads and checks the record.
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
