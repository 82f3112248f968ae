"""Archive, backup and erasing from the pages."""

from __future__ import annotations

import sqlite3

from sensory.serving.lines import ballot_lines
from sensory.serving.planning import serving_plan
from sensory.sessions import booth_plans, workflow
from sensory.store.archive import archive_session, import_archive, read_archive
from sensory.store.repository import open_store

from .pages import BY, click, put, run, words


def served(store):
    session = put(store, stage="agreed", cells=False, here=workflow.new_session_id())
    plan = serving_plan("triangle", ["Anna", "Bo"], seed=2**128 + 5)
    booth_plans.serve(store, session.id, plan, ballot_lines(plan), who=BY)
    return session.id


def test_served_session_comes_back_from_its_archive_with_its_plan(store, tmp_path):
    session_id = served(store)
    packed = archive_session(store, session_id)
    assert read_archive(packed).session.serving == store.session(session_id).serving
    other = open_store(f"sqlite:///{tmp_path / 'other.sqlite3'}")
    back = import_archive(other, packed, who="t", why="moved")
    assert other.session(back.id) == store.session(session_id)
    assert other.cells(back.id) == store.cells(session_id)
    assert other.verify() == []


def test_copy_of_the_record_is_a_record(store, url, tmp_path):
    served(store)
    app = run("sessions", url, session="none")
    click(app, "backup")
    copy = tmp_path / "copy.sqlite3"
    copy.write_bytes(app.session_state["backup-copy"])
    with sqlite3.connect(copy) as opened:
        assert opened.execute("select count(*) from sessions").fetchone() == (1,)


def test_name_is_erased_from_the_page(store, url):
    session_id = served(store)
    app = run("sessions", url, session="none")
    assert app.button(key="erase").disabled
    app.text_input(key="erase-name").set_value("Anna").run()
    app.text_input(key="erase-why").set_value("asked for it").run()
    app.checkbox(key="erase-sure").check().run()
    click(app, "erase")
    people = {texts["assessor"] for texts in store.cells(session_id).values()}
    assert people == {"erased 1", "Bo"}
    assert "'erased 1'" in "".join(line.value for line in app.success)
    app.text_input(key="erase-name").set_value("Nobody").run()
    click(app, "erase")
    assert "Nobody" in words(app)
