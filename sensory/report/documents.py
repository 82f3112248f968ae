"""The report of a session as PDF, the same for every test."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from math import ceil, sqrt
from pathlib import Path
from typing import Any

import typst

from ..base.results import Table, cell_text, is_p, several
from ..base.spelling import name_and_role
from ..catalogue.outcome import QUANTITIES, AssessorLine, AssessorPoint, NamedTable, Outcome
from ..catalogue.tests import find_kind
from ..sessions.care import care_in_words
from ..sessions.finding import SessionReport
from ..sessions.served_beside_plan import Served
from ..sessions.session import ADVICE, CAUTIONS, Sample, StoredSession
from .figure_parts import FONTS, as_svg
from .outcome_figures import (
    lines_figure,
    map_figure,
    outcome_figure,
    panel_figure,
    profile_figure,
)
from .words import column_heading, number, percent

_TEMPLATES = Path(__file__).parent / "templates"
FONT_OPTIONS: dict[str, Any] = {"font_paths": [str(FONTS)], "ignore_system_fonts": True}
Words = dict[str, object]
"""What a template reads."""

_CAUTIONS = {
    "cleared": "cleared for tasting",
    "allergens": "allergens declared",
    "consent": "consent and exclusions",
    "swallowing": "swallowing settled",
    "amounts": "amounts within limits",
}
_SIZES = (8.6, 8.0, 7.4, 6.8, 8.6)  # what fits no page at any size is read better large
_MAP_SAYS = (
    "Map of the samples: principal components of their means. An ellipse is where the sample would "
    "lie with other assessors; dotted lines are the attributes. It describes and tests nothing."
)
_PROMPT = re.compile(r", separated|: one number| \(|, lowest first| among the samples|, one point")
_NARROW = 7  # columns up to which two tables stand side by side
_MOST_ROWS, _MOST_LINES, _ACROSS = 40, 6, 4


def session_pdf(report: SessionReport) -> bytes:
    """The test report: aim, samples, method, assessors, results, risks, finding and its limits.

    Follows what the report clauses of the standards ask for (from memory of the clauses, not
    from their text). Long texts shrink the type step by step so that one page is kept; what
    does not fit at the smallest step goes to a second page, and a profile takes several.

    Text is text and the charts are vectors; the same report gives the same bytes.
    """
    outcome, files = report.outcome, dict[str, bytes]()
    if outcome.figure is not None:
        files["figure.svg"] = as_svg(outcome_figure(outcome.figure, width=640))
    if outcome.means:
        files["profile.svg"] = as_svg(profile_figure(outcome, width=640))
    if outcome.places is not None:
        files["map.svg"] = as_svg(map_figure(outcome.places))
    if outcome.panel:
        files["panel.svg"] = as_svg(panel_figure(outcome, _ACROSS))
    if outcome.panel_lines:
        across = max(_ACROSS, ceil(sqrt(_panels(outcome.panel_lines))))  # many still fit a page
        files["lines.svg"] = as_svg(lines_figure(outcome, across, width=130))
    words = session_words(report)
    tries = [files | {"data.json": json.dumps(words | {"size": size}).encode()} for size in _SIZES]
    pages = _fewest("session.typ", tries[:-1]) if outcome.means else 1
    return fitted("session.typ", tries, report.printed_at, pages=pages)


def _fewest(template: str, tries: Sequence[dict[str, bytes]]) -> int:
    """How many pages the smallest type takes: larger type that keeps to them is read better."""
    return len(_pages(template, tries[-1]))


def _pages(template: str, files: dict[str, bytes]) -> list[bytes]:
    """Each page as a drawing."""
    main = {"main.typ": (_TEMPLATES / template).read_bytes()}
    drawn = typst.compile(main | files, format="svg", **FONT_OPTIONS)
    return drawn if isinstance(drawn, list) else [drawn]


def compiled(template: str, files: dict[str, bytes], printed_at: str) -> bytes:
    """A PDF from a template of ours and the files that it reads."""
    return fitted(template, [files], printed_at, pages=1)


def fitted(
    template: str, tries: Sequence[dict[str, bytes]], printed_at: str, *, pages: int
) -> bytes:
    """The first of several settings that keeps to so many pages, else the last of them."""
    main = {"main.typ": (_TEMPLATES / template).read_bytes()}
    for files in tries[:-1]:
        if len(_pages(template, files)) <= pages:
            break
    else:
        files = tries[-1]
    moment = _moment(printed_at)
    return bytes(typst.compile(main | files, format="pdf", timestamp=moment, **FONT_OPTIONS))


def session_words(report: SessionReport) -> Words:
    """Every word and number of the report, as plain data for the template."""
    outcome, details = report.outcome, report.details
    beside, below = _printed(outcome)
    return {
        "kind": f"Report of a session: {report.name_of_test}",
        "title": details.title or "Untitled session",
        "author": details.leader,
        "finding": f"Finding: {outcome.finding.heading}",
        "sentence": report.headline.words,
        "because": " ".join(report.reasons),
        "warnings": list(report.warnings),
        "figure_words": outcome.words(),
        "left": [
            _asked(report),
            *(_sample(sample) for sample in details.samples),
            _agreement(report.session),
        ],
        "right": [*beside, _done(report)],
        "tables": below,
        "notes": list(outcome.notes),
        "with_figure": outcome.figure is not None,
        "with_profile": bool(outcome.means),
        "map_says": _MAP_SAYS if outcome.places is not None else "",
        "panel_width": _width(_panels(outcome.panel)),
        "lines_width": _width(_panels(outcome.panel_lines)),
        "panel_says": list(outcome.panel_says),
        "panel_tables": [_table(each) for each in outcome.panel_tables[:-1]],
        "narrow": _NARROW,
        "cannot_heading": "Limits of this result",
        "cannot_tell": list(report.cannot_tell()),
        "below": _below(report),
        "advice": ADVICE,
        "sign": f"Decision of {details.decides or 'the authorised person'}:",
        "footer": f"Question SHA-256 {report.session.digest} · "
        f"printed {stamp(report.printed_at)} · program version {report.version}"
        + (f" · {report.newest.words}" if report.newest else ""),
    }


def _panels(points: Sequence[AssessorPoint | AssessorLine]) -> int:
    return len({point.attribute for point in points})


def _width(panels: int) -> float:
    """Of a row of small panels, in percent of the page; 0 for none."""
    return 100 * min(panels / _ACROSS, 1.0)


def block(heading: str, *rows: tuple[str, str]) -> Words:
    """A heading with labelled lines; empty ones are left out."""
    return {"heading": heading, "rows": [list(row) for row in rows if row[1].strip()]}


def _sample(sample: Sample) -> Words:
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


def _asked(report: SessionReport) -> Words:
    question, test = report.question, find_kind(report.outcome.test)
    return block(
        "What was asked",
        ("Difference between samples", question.what_changed),
        ("Depends on the answer", question.decision),
        ("Attribute", question.attribute),
        ("More expected in", report.direction),
        ("The ballot asks", test.asks),
        ("If different", question.if_different),
        ("If beyond the limit", question.if_beyond),
        ("If similar", question.if_similar if test.similarity else ""),
        ("If inconclusive", question.if_undecided),
        ("Exclusions", question.exclusion_rule),
        ("Retest", question.retest_rule),
    )


def _done(report: SessionReport) -> Words:
    details, question, counts = report.details, report.question, report.outcome.counts
    test = find_kind(report.outcome.test)
    note = f"; {test.standard_note}" if test.standard_note else ""
    came = f"{counts.assessors} counted, {question.assessors} planned"
    counted, marked = f"{counts.answers} counted, ", ""
    if counts.trials:
        two_sided = any(each.two_sided for each in report.outcome.comparisons)
        way = "for B" if two_sided else "correct"
        counted = f"{counts.correct} of {counts.trials} {way}, "
        marked = f", {counts.guesses} marked as a guess"
    beta = () if report.outcome.beta is None else (("beta", number(question.beta)),)
    return block(
        "How it was done",
        ("Method", f"{test.name}, {question.standard or test.standard}{note}"),
        ("alpha", number(question.alpha)),
        *beta,
        *(
            (_PROMPT.split(label)[0], str(value))
            for label, value in test.agreed_settings(question.settings)
        ),
        ("Answers", f"{counted}{counts.missing} missing{marked}"),
        ("Assessors", f"{came}; {details.assessors}" if details.assessors else came),
        ("Information given to assessors", details.information),
        ("Orders", ", ".join(f"{order} {times}" for order, times in counts.orders.items())),
        *_served_rows(report.served),
        ("Place", details.place),
        ("Conditions", details.conditions),
        ("Deviations", details.deviations),
        ("Tasted on", details.held_on),
        ("Led by", details.leader),
    )


def _printed(outcome: Outcome) -> tuple[list[Words], list[Words]]:
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
        shown = cell_text(estimate, "estimate", name)
        limits = [number(end) for end in (low, high) if end is not None]
        words = f"{' to '.join(limits)}, {percent(float(level))}" if limits and level else ""
        rows.append((str(name), f"{shown} ({words})" if words else shown))
    return rows


def _table(named: NamedTable) -> Words:
    left = len(named.table.rows) - _MOST_ROWS
    note = f"and {several(left, 'row')} more, in the CSV" if left > 0 else ""
    shown = replace(named.table, rows=named.table.rows[:_MOST_ROWS])
    return printed_table(shown, heading=named.heading, note=note)


def printed_table(table: Table, **more: object) -> Words:
    """A table with its numbers as people read them, and what stands beside it."""
    heads = [column_heading(name) if is_p(name) else name for name in table.columns]
    return {"columns": heads, "rows": table.texts(), **more}


def _agreement(session: StoredSession) -> Words:
    """When and by whom the question was agreed and the ballots closed."""
    entered = session.ballots_at_agreement
    agreed_by = name_and_role(session.agreed_by, session.agreed_role)
    return block(
        "Agreement",
        ("Agreed", f"{stamp(session.agreed_at)} by {agreed_by}"),
        ("Ballots entered before", f"{entered}" if entered else "none"),
        ("Closed", stamp(session.closed_at)),
        ("Cautions", _cautions(session)),
        *care_in_words(session.details.care),
        ("Decides", session.details.decides),
    )


def _cautions(session: StoredSession) -> str:
    """Each caution with its answer."""
    answers = {True: "yes", False: "no", None: "not answered"}
    return "; ".join(
        f"{_CAUTIONS[caution.key]}: {answers[session.cautions.get(caution.key)]}"
        for caution in CAUTIONS
    )


def _below(report: SessionReport) -> list[Words]:
    told = "; ".join(f"{about}: {text}" if about else text for about, text in report.comments)
    parts = (
        ("Comments of assessors", (told,) if told else ()),
        ("Served otherwise than planned", report.served.departures if report.served else ()),
        ("Remarks of the checks", report.remarks),
        ("Done after the finding was seen", report.afterwards),
    )
    return [{"heading": heading, "lines": _capped(lines)} for heading, lines in parts if lines]


def _served_rows(served: Served | None) -> list[tuple[str, str]]:
    """Who came, and whether the serving was as planned; nothing where there was no plan."""
    if served is None:
        return []
    declared = "; ".join(f"{name}: {text}" for name, text in served.allergens.items())
    return [("Came", served.came), ("Served", served.confirmed), ("Declared", declared)]


def _capped(lines: tuple[str, ...]) -> list[str]:
    rest = len(lines) - _MOST_LINES
    more = [f"and {rest} more, in the record"] if rest > 0 else []
    return [*lines[:_MOST_LINES], *more]


def stamp(moment: str) -> str:
    """A time of the record to the minute; empty for none."""
    return _moment(moment).strftime("%Y-%m-%d %H:%M UTC") if moment else ""


def _moment(stamp: str) -> datetime:
    return datetime.fromisoformat(stamp).replace(microsecond=0)
