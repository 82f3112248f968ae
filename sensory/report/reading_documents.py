"""The report of a session that is no forced choice, as PDF."""

from __future__ import annotations

import json
from typing import Any

from ..base.results import Table, several
from ..catalogue.reading import Reading
from ..catalogue.tests import find_kind
from ..sessions.read_session import ReadSession
from ..sessions.session import ADVICE
from .documents import (
    agreement_block,
    block,
    capped,
    compiled,
    departures,
    sample_block,
    served_rows,
    stamp,
)
from .figure_parts import as_svg
from .reading_figures import panel_figure, profile_figure, reading_figure
from .words import number

_MOST_ROWS = 40


def reading_pdf(read: ReadSession) -> bytes:
    """The test report: aim, samples, method, assessors, results, finding and its limits.

    Returns
    -------
    bytes
        A PDF with text as text and the chart as vectors; the same reading gives the same
        bytes. One page for a few attributes, more where the tables are long.
    """
    reading = read.reading
    files = {
        "data.json": json.dumps(reading_words(read)).encode(),
    }
    if reading.spans:
        files["figure.svg"] = as_svg(reading_figure(reading, width=640))
    if reading.means:
        files["profile.svg"] = as_svg(profile_figure(reading, width=640))
    if reading.panel:
        files["panel.svg"] = as_svg(panel_figure(reading))
    return compiled("reading.typ", files, read.printed_at)


def reading_words(read: ReadSession) -> dict[str, Any]:
    """Every word and number of the report, as plain data for the template."""
    details, reading = read.details, read.reading
    return {
        "kind": f"Report of a session: {find_kind(read.question.protocol).name}",
        "title": details.title or "Untitled session",
        "author": details.leader,
        "finding": f"Finding: {reading.finding.heading}",
        "sentence": reading.sentence,
        "because": reading.because,
        "figure_words": reading.words(),
        "left": _asked(read),
        "right": [_done(read), agreement_block(read.session)],
        "tables": [_table(heading, table) for heading, table in _printed(reading)],
        "notes": list(reading.notes),
        "with_figure": bool(reading.spans),
        "with_profile": bool(reading.means),
        "with_panel": bool(reading.panel),
        "panel_says": list(reading.panel_says),
        "panel_tables": [_table(heading, table) for heading, table in reading.panel_tables[:2]],
        "cannot_tell": list(read.cannot_tell()),
        "below": [
            {"heading": heading, "lines": capped(lines, 12)}
            for heading, lines in (
                ("Served otherwise than planned", departures(read.served)),
                ("Remarks of the checks", read.remarks),
                ("Done after the finding was seen", read.afterwards),
            )
            if lines
        ],
        "advice": ADVICE,
        "sign": f"Decision of {details.decides or 'the authorised person'}:",
        "footer": f"Question SHA-256 {read.session.digest} · printed {stamp(read.printed_at)} · "
        f"program version {read.version}",
    }


def _asked(read: ReadSession) -> list[dict[str, Any]]:
    question = read.question
    asked = block(
        "What was asked",
        ("Differs", question.what_changed),
        ("Decision", question.decision),
        ("Ballot", find_kind(question.protocol).asks),
        ("If different", question.if_different),
        ("If similar", question.if_similar if find_kind(question.protocol).similarity else ""),
        ("If undecided", question.if_undecided),
        ("Exclusions", question.exclusion_rule),
        ("Retest", question.retest_rule),
    )
    return [asked, *(sample_block(sample) for sample in read.details.samples)]


def _done(read: ReadSession) -> dict[str, Any]:
    question, details, method = read.question, read.details, find_kind(read.question.protocol)
    settings = [(label, str(value)) for label, value in method.agreed_settings(question.settings)]
    return block(
        "How it was done",
        ("Method", f"{method.name}, {question.standard}"),
        ("alpha", number(question.alpha)),
        ("beta", number(question.beta) if method.similarity else ""),
        *settings,
        ("Answers", f"{read.answers} counted, {read.missing} missing"),
        ("Assessors", f"{read.assessors}; {details.assessors}".strip("; ")),
        *served_rows(read.served),
        ("Told", details.information),
        ("Place", details.place),
        ("Conditions", details.conditions),
        ("Deviations", details.deviations),
        ("Tasted on", details.held_on),
        ("Led by", details.leader),
    )


def _printed(reading: Reading) -> tuple[tuple[str, Table], ...]:
    """The tables of the report; those of a profile fill pages, and the rest is in the CSV."""
    return reading.tables[:2] if reading.means else reading.tables


def _table(heading: str, table: Table) -> dict[str, Any]:
    rows = [[number(cell) for cell in row] for row in table.rows[:_MOST_ROWS]]
    left = len(table.rows) - len(rows)
    note = f"and {several(left, 'row')} more, in the CSV" if left > 0 else ""
    return {"heading": heading, "columns": list(table.columns), "rows": rows, "note": note}
