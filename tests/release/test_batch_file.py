"""Sister batches by relevance, and what assessors wrote."""

from __future__ import annotations

from sensory.release import batch_desk, tastings
from sensory.release.batches import RawLot
from sensory.report.batch_documents import batch_words
from sensory.sessions import workflow
from sensory.store.repository import Repository

from .shared import agreed, desk_with, held, made, scores, triangles
from .test_batch_desk import RATED

COMMON, RARE, MIDDLE = (RawLot(material="acid", lot=lot) for lot in ("CA-1", "CA-2", "CA-3"))


def shared_lots(store: Repository) -> None:
    """Everything has CA-1; SC-2 and SC-8 have the rare lot too; SC-2, SC-6, SC-7 a third."""
    lots = {2: (COMMON, RARE, MIDDLE), 8: (COMMON, RARE), 6: (COMMON, MIDDLE), 7: (COMMON, MIDDLE)}
    for number in range(1, 10):
        day = f"2026-03-0{number}"
        made(store, f"SC-{number}", made_on=day, raw_lots=lots.get(number, (COMMON,)))


def test_sisters_come_by_the_rarest_lot_that_they_share(store):
    """Counted by hand: the rare lot has 1 other batch, the middle one 2, the common one 8."""
    shared_lots(store)
    file = batch_desk.batch_file(store, "SC-2")
    assert [len(lot.batches) for lot in file.kin] == [1, 2, 8]
    sisters = file.sisters()
    assert [(each.record.name, each.rarest, len(each.shares)) for each in sisters] == [
        ("SC-8", 1, 2),
        ("SC-6", 2, 2),
        ("SC-7", 2, 2),
        ("SC-1", 8, 1),  # then by days apart: SC-1 and SC-3 are one day away
        ("SC-3", 8, 1),
        ("SC-4", 8, 1),
        ("SC-5", 8, 1),
        ("SC-9", 8, 1),
    ]
    assert sisters[0].shares == ("acid, lot CA-2", "acid, lot CA-1")


def test_the_document_has_them_in_the_same_order(store):
    shared_lots(store)
    file = batch_desk.batch_file(store, "SC-2")
    tables = batch_words(file)["tables"]
    related = next(each for each in tables if each["heading"].startswith("Batches from the same"))
    names = [sister.record.name for sister in file.sisters()]
    assert [row[0] for row in related["rows"]] == names


def test_comments_of_closed_tastings_stand_in_the_file():
    store = desk_with(RATED)
    made(store, "SC-1")
    cells = scores("SC-1", 2.5, 1)
    for line, text in ((3, "rubber"), (5, " Rubber "), (7, "like a hose"), (4, "sweeter")):
        cells[line]["comment"] = text
    session = agreed(store, "SC-1")
    workflow.enter_cells(store, session.id, cells, who="Mira")
    assert batch_desk.batch_file(store, "SC-1").comments == ()  # ballots are open
    tastings.close_and_note(store, session.id, who="Mira")
    file = batch_desk.batch_file(store, "SC-1")
    assert file.remarks().rows == (
        (1, "SC-1", "rubber", 2),
        (1, "blind reference", "sweeter", 1),
        (1, "SC-1", "like a hose", 1),
    )
    tables = batch_words(file)["tables"]
    printed = next(each for each in tables if each["heading"].startswith("Comments"))
    assert ["1", "SC-1", "rubber", "2"] in [list(map(str, row)) for row in printed["rows"]]
    assert not [cell for row in printed["rows"] for cell in row if "P1" in str(cell)]
    store.close()


def test_where_samples_have_no_names_the_order_stands_there(store):
    made(store, "SC-1")
    cells = triangles(12, 36)
    cells[2]["comment"] = "a little flat"
    held(store, "SC-1", cells)
    assert batch_desk.batch_file(store, "SC-1").remarks().rows == (
        (1, cells[2]["order"], "a little flat", 1),
    )
