"""The report of a session as PDF, the same for every test."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

import typst

from ..base.results import Table, several
from ..catalogue.outcome import QUANTITIES, NamedTable, Outcome
from ..catalogue.tests import find_kind
from ..sessions.finding import SessionReport
from ..sessions.served_beside_plan import Served
from ..sessions.session import ADVICE, CAUTIONS, Sample, StoredSession
from .figure_parts import FONTS, as_svg
from .outcome_figures import outcome_figure, panel_figure, profile_figure
from .words import number, percent

_TEMPLATES = Path(__file__).parent / "templates"
_FONT_OPTIONS: dict[str, Any] = {"font_paths": [str(FONTS)], "ignore_system_fonts": True}
_SIZES = (8.6, 8.0, 7.4, 6.8)
_MOST_ROWS = 40


def session_pdf(report: SessionReport) -> bytes:
    """The test report: aim, samples, method, assessors, results, risks, finding and its limits.

    Follows what the report clauses of the standards ask for (from memory of the clauses, not
    from their text). Long texts shrink the type step by step so that one page is kept; what
    does not fit at the smallest step goes to a second page, and a profile takes several.

    Returns
    -------
    bytes
        A PDF with text as text and the charts as vectors; the same report gives the same
        bytes.
    """
    outcome, files = report.outcome, dict[str, bytes]()
    if outcome.figure is not None:
        files["figure.svg"] = as_svg(outcome_figure(outcome.figure, width=640))
    if outcome.means:
        files["profile.svg"] = as_svg(profile_figure(outcome, width=640))
    if outcome.panel:
        files["panel.svg"] = as_svg(panel_figure(outcome))
    words = session_words(report)
    sizes = _SIZES[:1] if outcome.means else _SIZES
    tries = [files | {"data.json": json.dumps(words | {"size": size}).encode()} for size in sizes]
    return fitted("session.typ", tries, report.printed_at, pages=1)


def compiled(template: str, files: dict[str, bytes], printed_at: str) -> bytes:
    """A PDF from a template of ours and the files that it reads."""
    files = {"main.typ": (_TEMPLATES / template).read_bytes(), **files}
    moment = _moment(printed_at)
    return bytes(typst.compile(files, format="pdf", timestamp=moment, **_FONT_OPTIONS))


def fitted(
    template: str, tries: Sequence[dict[str, bytes]], printed_at: str, *, pages: int
) -> bytes:
    """The first of several settings that keeps to so many pages, else the last of them."""
    source = (_TEMPLATES / template).read_bytes()
    for files in tries[:-1]:
        if _pages({"main.typ": source, **files}) <= pages:
            return compiled(template, files, printed_at)
    return compiled(template, tries[-1], printed_at)


def _pages(files: dict[str, bytes]) -> int:
    drawn = typst.compile(files, format="svg", **_FONT_OPTIONS)
    return len(drawn) if isinstance(drawn, list) else 1


def session_words(report: SessionReport) -> dict[str, Any]:
    """Every word and number of the report, as plain data for the template."""
    outcome, details = report.outcome, report.details
    beside, below = _printed(outcome)
    return {
        "kind": f"Report of a session: {report.name_of_test}",
        "title": details.title or "Untitled session",
        "author": details.leader,
        "finding": f"Finding: {outcome.finding.heading}",
        "sentence": outcome.sentence,
        "because": outcome.because,
        "figure_words": outcome.words(),
        "left": [
            _asked(report),
            *(sample_block(sample) for sample in details.samples),
            agreement_block(report.session),
        ],
        "right": [*beside, _done(report)],
        "tables": below,
        "notes": list(outcome.notes),
        "with_figure": outcome.figure is not None,
        "with_profile": bool(outcome.means),
        "with_panel": bool(outcome.panel),
        "panel_says": list(outcome.panel_says),
        "panel_tables": [_table(each) for each in outcome.panel_tables[:-1]],
        "cannot_heading": "What this session cannot tell",
        "cannot_tell": list(report.cannot_tell()),
        "below": _below(report),
        "advice": ADVICE,
        "sign": f"Decision of {details.decides or 'the authorised person'}:",
        "footer": f"Question SHA-256 {report.session.digest} · "
        f"printed {stamp(report.printed_at)} · program version {report.version}",
    }


def block(heading: str, *rows: tuple[str, str]) -> dict[str, Any]:
    """A heading with labelled lines; empty ones are left out."""
    return {"heading": heading, "rows": [list(row) for row in rows if row[1].strip()]}


def sample_block(sample: Sample) -> dict[str, Any]:
    role = "reference" if sample.letter == "A" else "compared with it"
    return block(
        f"Sample {sample.letter}, {role}",
        ("Name", sample.name),
        ("Batch", sample.batch),
        ("Made on", sample.made_on),
        ("Storage", sample.storage),
        ("Served", sample.preparation),
        ("Allergens", sample.allergens),
    )


def _asked(report: SessionReport) -> dict[str, Any]:
    question, test = report.question, find_kind(report.outcome.test)
    return block(
        "What was asked",
        ("Differs", question.what_changed),
        ("Decision", question.decision),
        ("Attribute", question.attribute),
        ("More expected in", report.direction),
        ("Ballot", test.asks),
        ("If different", question.if_different),
        ("If similar", question.if_similar if test.similarity else ""),
        ("If undecided", question.if_undecided),
        ("Exclusions", question.exclusion_rule),
        ("Retest", question.retest_rule),
    )


def _done(report: SessionReport) -> dict[str, Any]:
    details, question, counts = report.details, report.question, report.outcome.counts
    settings = find_kind(report.outcome.test).agreed_settings(question.settings)
    risks = [("alpha", number(question.alpha))]
    risks += [] if report.outcome.beta is None else [("beta", number(question.beta))]
    counted = f"{counts.correct} of {counts.trials} correct, " if counts.trials else ""
    if any(each.two_sided for each in report.outcome.comparisons if counts.trials):
        counted = f"{counts.correct} of {counts.trials} for B, "
    marked = f", {counts.guesses} marked as a guess" if counts.trials else ""
    return block(
        "How it was done",
        ("Method", _method(report)),
        *risks,
        *((label, str(value)) for label, value in settings),
        ("Answers", f"{counted or f'{counts.answers} counted, '}{counts.missing} missing{marked}"),
        ("Assessors", _assessors(report)),
        ("Told", details.information),
        ("Orders", ", ".join(f"{order} {times}" for order, times in counts.orders.items())),
        *served_rows(report.served),
        ("Place", details.place),
        ("Conditions", details.conditions),
        ("Deviations", details.deviations),
        ("Tasted on", details.held_on),
        ("Led by", details.leader),
    )


def _printed(outcome: Outcome) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Quantities beside what was done; other tables below, of a profile the first two."""
    tables = outcome.tables[:2] if outcome.means else outcome.tables
    beside = [each for each in tables if each.table.columns == QUANTITIES]
    return (
        [block(f"{each.heading}, with limits", *_pairs(each.table)) for each in beside],
        [_table(each) for each in tables if each.table.columns != QUANTITIES],
    )


def _pairs(table: Table) -> list[tuple[str, str]]:
    """Each quantity with its limits in brackets."""
    rows = []
    for name, estimate, low, high, level in table.rows:
        limits = [f"{number(each)}" for each in (low, high) if each is not None]
        words = f"{' to '.join(limits)}, {percent(float(level))}" if limits and level else ""
        rows.append((str(name), f"{number(estimate)} ({words})" if words else number(estimate)))
    return rows


def _table(named: NamedTable) -> dict[str, Any]:
    table = named.table
    rows = [[number(cell) for cell in row] for row in table.rows[:_MOST_ROWS]]
    left = len(table.rows) - len(rows)
    note = f"and {several(left, 'row')} more, in the CSV" if left > 0 else ""
    return {"heading": named.heading, "columns": list(table.columns), "rows": rows, "note": note}


def agreement_block(session: StoredSession) -> dict[str, Any]:
    """When and by whom the question was agreed and the ballots closed."""
    entered = session.ballots_at_agreement
    return block(
        "Agreement",
        ("Agreed", f"{stamp(session.agreed_at)} by {session.agreed_by}"),
        ("Ballots then", f"{entered} entered" if entered else "none entered"),
        ("Closed", stamp(session.closed_at)),
        ("Cautions", _cautions(session)),
        ("Decides", session.details.decides),
    )


def _cautions(session: StoredSession) -> str:
    answers = session.cautions
    unmet = [caution.asks for caution in CAUTIONS if answers.get(caution.key) is not True]
    return "Not answered with yes: " + " ".join(unmet) if unmet else "all answered with yes"


def _method(report: SessionReport) -> str:
    test = find_kind(report.outcome.test)
    note = test.standard_note
    standard = report.question.standard or str(test.standard)
    return f"{test.name}, {standard}{f'; {note}' if note else ''}"


def _assessors(report: SessionReport) -> str:
    planned = f"{report.outcome.counts.assessors} counted, {report.question.assessors} planned"
    return f"{planned}; {report.details.assessors}" if report.details.assessors else planned


def _below(report: SessionReport) -> list[dict[str, Any]]:
    parts = (
        ("Served otherwise than planned", departures(report.served)),
        ("Remarks of the checks", report.remarks),
        ("Done after the finding was seen", report.afterwards),
    )
    return [{"heading": heading, "lines": capped(lines)} for heading, lines in parts if lines]


def served_rows(served: Served | None) -> list[tuple[str, str]]:
    """Who came, and whether the serving was as planned; nothing where there was no plan."""
    if served is None:
        return []
    declared = "; ".join(f"{name}: {text}" for name, text in served.allergens.items())
    return [("Came", served.came), ("Served", served.confirmed), ("Declared", declared)]


def departures(served: Served | None) -> tuple[str, ...]:
    """Each departure from the plan, with its reason."""
    return served.departures if served else ()


def capped(lines: tuple[str, ...], most: int = 6) -> list[str]:
    """The first lines, and how many more there are."""
    rest = len(lines) - most
    more = [f"and {rest} more, in the record"] if rest > 0 else []
    return [*lines[:most], *more]


def stamp(moment: str) -> str:
    """A time of the record to the minute; empty for none."""
    return _moment(moment).strftime("%Y-%m-%d %H:%M UTC") if moment else ""


def _moment(stamp: str) -> datetime:
    return datetime.fromisoformat(stamp).replace(microsecond=0)
