"""Studies: a file, a question, an answer with what it cannot tell, kept and found again."""

from __future__ import annotations

from dataclasses import replace

import pytest
from streamlit.testing.v1 import AppTest

from sensory.release.batches import Batch
from sensory.release.product_desk import enter_batch, enter_product
from sensory.release.study_desk import keep_study
from sensory.report.printed import printed
from sensory.report.study_documents import StudyReport, drafted
from sensory.screens.frame import day
from sensory.store.repository import open_store
from sensory.store.study_archive import archive_study

from ..report.shared import text_of
from .pages import DEMO, SCRIPT, click, fill, keys, run, sound, words

CONSUMERS = (("alpha", 0.05), ("beta", 0.05), ("share", 0.25), ("unit", "points"))


def script(url: str, page: str = "studies", invented: bool = True) -> str:
    text = SCRIPT.format(page=page, url=url, demo=str(DEMO), asked={}, arguments=())
    more = f"demo=Path({str(DEMO)!r}), invented={invented}"
    return text.replace(f"demo=Path({str(DEMO)!r})", more)


@pytest.fixture
def app(url):
    return sound(AppTest.from_string(script(url), default_timeout=60).run())


@pytest.mark.parametrize(
    ("study", "headline", "cannot"),
    [
        ("threshold", "Half of the tastings are noticed at", "not what is harmful"),
        ("recipes", "no difference is shown", "Lots of both recipes are taken to scatter alike"),
        ("lot pairs", "no difference between the recipes", "taken to scatter alike, normally"),
        ("graders", "stop a batch", "Votes are taken as independent"),
        ("ring", "Look into Delta, Foxtrot", "Which panel is right"),
    ],
)
def test_each_invented_study_is_kept_and_found_after_a_restart(url, app, study, headline, cannot):
    fill(app, study=study)
    click(app, f"study-demo-{study}")
    sentence = app.subheader[0].value.replace("\\", "")
    assert headline in sentence
    assert cannot in words(app)
    assert app.button(key="study-keep").disabled
    fill(app, study_title="Tried in May", study_by="Mira")
    click(app, "study-keep")
    assert "On record: Tried in May" in words(app)
    assert "study-keep" not in keys(app)

    again = sound(AppTest.from_string(script(url), default_timeout=60).run())
    (kept,) = open_store(url).studies()
    assert (kept.kind, kept.title, kept.kept_by) == (study, "Tried in May", "Mira")
    assert f"{sentence}" in words(again)
    again.session_state["study-opened"] = kept.key
    sound(again.run())
    assert sentence == again.subheader[0].value.replace("\\", "")
    report = StudyReport(study=kept, kept=True, printed_at="2026-11-28T08:00:00+00:00")
    assert sentence.split(":")[0] in text_of(printed(report))


def test_a_study_is_withdrawn_and_its_rows_are_not_used_again(url, app):
    click(app, "study-demo-threshold")
    fill(app, study_title="Tried in May", study_by="Mira")
    click(app, "study-keep")
    (kept,) = open_store(url).studies()
    opened = AppTest.from_string(script(url), default_timeout=60)
    opened.session_state["study-opened"] = kept.key
    sound(opened.run())
    assert opened.button(key="study-withdraw").disabled
    fill(opened, study_withdraw_why="the spiked cups were mixed up", study_withdraw_by="Nora")
    click(opened, "study-withdraw")
    (gone,) = open_store(url).studies()
    assert gone.withdrawn
    assert "Withdrawn by Nora, head of quality on" in words(opened)
    assert "Withdrawn: Half of the tastings" in words(opened)
    assert "study-withdraw" not in keys(opened)
    again = click(sound(AppTest.from_string(script(url), default_timeout=60).run()),
                  "study-demo-threshold")  # fmt: skip
    assert f"kept by Mira, withdrawn on {day(gone.withdrawn_on)}" in words(again)
    assert "These rows with these settings are not used. Withdrawn by Nora" in words(again)
    assert "study-keep" not in keys(again)


def test_an_archived_study_is_brought_back_by_the_button(url, tmp_path):
    other = open_store(f"sqlite:///{tmp_path / 'elsewhere.sqlite3'}")
    draft = drafted("ring", (DEMO / "ring_test.csv").read_bytes(), ())
    kept = keep_study(other, replace(draft, title="Ring of May"), who="Zora")
    content = archive_study(other, kept)
    app = run("sessions", url, None)
    assert "archive-import" not in keys(app)
    app.file_uploader(key="archive-upload").upload("study.zip", content, "application/zip")
    sound(app.run())
    app.button(key="archive-import").click().run()  # another page is opened
    (brought,) = open_store(url).studies()
    assert (brought.key, brought.title, brought.digest) == (kept.key, "Ring of May", kept.digest)
    assert app.session_state["study-opened"] == kept.key
    twice = run("sessions", url, None)
    twice.file_uploader(key="archive-upload").upload("study.zip", content, "application/zip")
    sound(twice.run())
    click(twice, "archive-import")
    assert "on record already" in words(twice)
    broken = run("sessions", url, None)
    broken.file_uploader(key="archive-upload").upload("no.zip", b"PK no", "application/zip")
    sound(broken.run())
    click(broken, "archive-import")
    assert any("archive" in error.value for error in broken.error)
    assert len(open_store(url).studies()) == 1


def test_a_file_is_uploaded_and_its_columns_are_said(url):
    app = sound(AppTest.from_string(script(url, invented=False), default_timeout=60).run())
    text = (DEMO / "threshold.csv").read_text().replace("concentration", "amount", 1)
    app.file_uploader(key="study-file-threshold").upload("may.csv", text.encode())
    sound(app.run())
    assert "Which column is which?" in words(app)
    assert "The file has no column concentration" in words(app)
    app.selectbox(key="study-role-threshold-concentration").set_value("amount")
    sound(app.run())
    assert "Half of the tastings are noticed at" in app.subheader[0].value


def test_an_unreadable_file_is_no_matter_of_ballots(url):
    app = sound(AppTest.from_string(script(url), default_timeout=60).run())
    app.file_uploader(key="study-file-threshold").upload("old.xlsx", b"\xd0\xcf\x11\xe0" * 9)
    sound(app.run())
    assert "The file cannot be read: an old workbook (.xls) or a locked one. Save" in words(app)
    assert "ballot" not in words(app)


@pytest.mark.parametrize(
    ("study", "rows", "sentence"),
    [
        ("threshold", "assessor,concentration,correct\nP1,1,no\nP1,2,yes\nP1,4,yes\n", "one only"),
        ("threshold", "assessor,concentration,correct\nP1,1,yes\nP1,2,yes\nP2,1,yes\nP2,2,yes\n",
         "below the series"),
        ("threshold", "assessor,concentration,correct\nP1,1,much\n", "numbers; row 2: much"),
        ("recipes", "assessor,recipe,lot,attribute,score\n" + "".join(
            f"P{p},{r},{r}1,sour,{4 + p % 3 * (r == 'B')}\n" for p in range(5) for r in "AB"),
         "one lot"),
        ("graders", "grader,sample,grade\nG1,1,in\nG1,2,out\n", "No sample's truth"),
    ],
)  # fmt: skip
def test_bad_designs_get_a_sentence(app, study, rows, sentence):
    fill(app, study=study)
    app.file_uploader(key=f"study-file-{study}").upload("bad.csv", rows.encode())
    sound(app.run())
    assert sentence in words(app)


def test_a_ring_test_names_the_site_that_lies_apart_and_the_one_that_scatters(app):
    fill(app, study="ring")
    said = words(click(app, "study-demo-ring"))
    assert "Delta lies apart on sour of quince: h 2.0, an outlier (1 %)." in said
    assert "Foxtrot scatters more than the others on sour of rhubarb: k 2.1, an outlier" in said
    assert "sour of rhubarb: results scatter by 0.18 within a panel (repeatability)" in said
    assert "of 36 values of h and k" in said


def test_thresholds_answer_how_many_notice(app):
    click(app, "study-demo-threshold")
    fill(app, study_threshold_unit="µg/l", study_threshold_noticed_at="3 12,5")
    said = words(app)
    assert "At 3 µg/l about" in said
    assert "At 12.5 µg/l about" in said
    fill(app, study_threshold_noticed_at="much")
    assert "Concentrations must be numbers" in words(app)


def test_a_margin_shows_what_is_similar(app):
    fill(app, study="recipes")
    click(app, "study-demo-recipes")
    fill(app, study_recipes_margin=3.0)
    assert "differ by less than 3" in app.subheader[0].value


def test_graders_who_cannot_keep_the_risks_are_told_so(app):
    fill(app, study="graders")
    click(app, "study-demo-graders")
    fill(app, study_graders_good_stopped=0.1, study_graders_bad_passed=0.1)
    assert "cannot see the limit well enough" in app.subheader[0].value


def test_nothing_is_shown_before_there_is_a_file(app):
    assert not app.subheader
    assert "Columns: assessor, concentration, correct." in words(app)


def test_a_product_and_a_batch_that_are_not_on_record_are_refused(url, app):
    enter_product(open_store(url), "Sloe cordial", who="Mira")
    click(app, "study-demo-threshold")
    fill(app, study_product="Sloe cordial", study_batch="QN-9", study_by="Mira")
    click(app, "study-keep")
    assert "There is no batch 'QN-9' on record." in words(app)
    fill(app, study_batch="")
    fill(app, study_by_who="Mira")
    click(app, "study-keep")
    assert "Sloe cordial, kept by Mira" in words(app)
    for page in ("product", "plan"):
        there = sound(AppTest.from_string(script(url, page), default_timeout=60).run())
        assert "Sloe cordial, kept by Mira: Half of the tastings" in words(there).replace("*", "")


def test_a_batch_shows_the_studies_that_name_it(url):
    store = open_store(url)
    enter_product(store, "Sloe cordial", who="Mira")
    enter_batch(store, Batch(number="SL-9", product="Sloe cordial", made_on="2026-10-02"), who="M")
    draft = drafted("threshold", (DEMO / "threshold.csv").read_bytes(), ())
    study = replace(draft, title="Taint of May", held_on="2026-05-04", batch="SL-9")
    keep_study(store, study, who="Mira")
    said = words(run("batch", url, None, batch="SL-9")).replace("*", "")
    assert "Taint of May, 4 May 2026, Sloe cordial, batch SL-9, kept by Mira: Half of the" in said


def test_long_tables_are_left_to_the_workbook():
    draft = drafted("consumers accept", (DEMO / "consumers.csv").read_bytes(), CONSUMERS)
    report = StudyReport(study=draft, kept=False, printed_at="2026-11-28T08:00:00+00:00")
    text = text_of(printed(report))
    assert "61 rows, in the XLSX" in text
    assert "not on record" in text
    (curve,) = [table for heading, table in report.tables() if heading == "Curve"]
    assert len(curve.rows) == 61
