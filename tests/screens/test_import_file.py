"""A messy export to an open session: roles and merges on the page, the file untouched."""

from __future__ import annotations

from sensory.catalogue.columns import filled_lines
from sensory.sessions import workflow
from sensory.sessions.steps import Way

from ..sessions.test_file_import import as_book, messy
from .pages import click, fill, run, sound, words


def test_a_messy_export_becomes_a_session_with_its_reference(store, url):
    app = run("new", url, None)
    app.radio(key="new-way").set_value(Way.FILE)
    sound(app.run()).file_uploader(key="upload").upload("export.xlsx", as_book(messy()))
    app = sound(app.run())
    assert "36 ballots read: 36 ready." in _success(app)
    roles = {box.label: box.value for box in app.selectbox if "import-role" in (box.key or "")}
    assert (roles["Datum"], roles["Prüfer"], roles["bittr"]) == ("date", "assessor", "attribute")
    ticks = [box for box in app.checkbox if "import-merge" in box.key]
    assert len(ticks) == 2
    for box in ticks:
        box.check()
    app = fill(app, new_product_text="sirup")
    app.selectbox(key="new-reference-of").set_value("Referenz")
    click(sound(app.run()), "start-session")
    (session,) = store.sessions()
    assert session.question.settings["reference"] == "Referenz"
    cells = filled_lines(store.cells(session.id))
    assert {line["assessor"] for line in cells.values()} >= {"Berg, Anna"}
    assert len({line["assessor"] for line in cells.values()}) == 6
    checked = workflow.checked_ballots(store, session.id)
    assert (checked.ready, checked.blocking) == (36, ())


def _success(app) -> str:
    return " ".join(each.value for each in app.success) + words(app)
