"""The report of a session as PDF, one page."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

import typst

from ..base.results import Interval, several
from ..sessions.served_beside_plan import Served
from ..sessions.session import ADVICE, CAUTIONS, Sample, StoredSession
from ..sessions.summary import SessionSummary
from .figure_parts import FONTS, as_svg
from .figures import interval_figure, interval_words
from .words import count_or_none, number, p_value, percent

_TEMPLATES = Path(__file__).parent / "templates"
_FONT_OPTIONS: dict[str, Any] = {"font_paths": [str(FONTS)], "ignore_system_fonts": True}
_SIZES = (8.6, 8.0, 7.4, 6.8)


def session_pdf(summary: SessionSummary) -> bytes:
    """The test report: aim, samples, method, assessors, results, risks, finding and its limits.

    Follows what the report clauses of the forced-choice standards ask for (from memory of
    the clauses, not from their text). Long texts shrink the type step by step so that one
    page is kept; what does not fit at the smallest step goes to a second page.

    Returns
    -------
    bytes
        A PDF with text as text and the chart as vectors; the same summary gives the same
        bytes.
    """
    figure = as_svg(interval_figure(summary, width=640))
    words = session_words(summary)
    for size in _SIZES:
        files = {
            "main.typ": (_TEMPLATES / "session.typ").read_bytes(),
            "figure.svg": figure,
            "data.json": json.dumps(words | {"size": size}).encode(),
        }
        if size == _SIZES[-1] or _pages(files) == 1:
            break
    moment = _moment(summary.printed_at)
    return bytes(typst.compile(files, format="pdf", timestamp=moment, **_FONT_OPTIONS))


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


def session_words(summary: SessionSummary) -> dict[str, Any]:
    """Every word and number of the report, as plain data for the template."""
    question, details = summary.question, summary.details
    return {
        "kind": f"Report of a {summary.protocol.name} test",
        "title": details.title or "Untitled session",
        "author": details.leader,
        "finding": f"Finding: {summary.result.finding.heading}",
        "sentence": summary.result.sentence,
        "because": summary.result.because,
        "figure_words": interval_words(summary),
        "left": [
            block(
                "What was asked",
                ("Differs", question.what_changed),
                ("Decision", question.decision),
                ("Attribute", question.attribute),
                ("More expected in", summary.direction),
                ("Ballot", summary.protocol.asks),
                ("If different", question.if_different),
                ("If similar", question.if_similar),
                ("If undecided", question.if_undecided),
                ("Exclusions", question.exclusion_rule),
                ("Retest", question.retest_rule),
            ),
            *(sample_block(sample) for sample in details.samples),
            agreement_block(summary.session),
        ],
        "right": [
            _results(summary),
            _risks(summary),
            _done(summary),
        ],
        "cannot_heading": "What this session cannot tell",
        "cannot_tell": list(summary.cannot_tell()),
        "below": _below(summary),
        "advice": ADVICE,
        "sign": f"Decision of {details.decides or 'the authorised person'}:",
        "footer": f"Question SHA-256 {summary.session.digest} · "
        f"printed {stamp(summary.printed_at)} · program version {summary.version}",
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


def _done(summary: SessionSummary) -> dict[str, Any]:
    details = summary.details
    return block(
        "How it was done",
        ("Method", _method(summary)),
        ("Assessors", _assessors(summary)),
        ("Told", details.information),
        ("Orders", ", ".join(f"{k} {v}" for k, v in summary.orders.items())),
        *served_rows(summary.served),
        ("Place", details.place),
        ("Conditions", details.conditions),
        ("Deviations", details.deviations),
        ("Tasted on", details.held_on),
        ("Led by", details.leader),
    )


def _results(summary: SessionSummary) -> dict[str, Any]:
    test, replicated = summary.result.test, summary.result.replicated
    named = "for B" if test.two_sided else "correct"
    which = "two-sided" if test.two_sided else "one-sided"
    rows = [
        ("Answers", f"{test.correct} of {test.trials} {named}"),
        ("Left out", f"{several(summary.missing, 'ballot')} without an answer"),
        ("Guesses", f"{several(summary.guesses, 'answer')} marked as a guess"),
        ("p difference", f"{p_value(test.p_difference)}, {which}"),
    ]
    if replicated is not None:
        rows += [
            ("By assessor", f"{replicated.assessors} people, beta-binomial"),
            ("Distinguishers", _share(replicated.pd, replicated.pd_limits)),
            ("Spread", _share(replicated.spread, replicated.spread_limits)),
            (
                "Upper limit",
                f"{percent(replicated.pd_upper, 1)}, one-sided {percent(1 - test.beta)}",
            ),
        ]
    else:
        low, high = number(test.dprime_limits.low), number(test.dprime_limits.high)
        rows += [
            ("Share " + named, _share(test.pc, test.pc_limits)),
            ("Distinguishers", _share(test.pd, test.pd_limits)),
            ("d-prime", f"{number(test.dprime)} ({low} to {high})"),
            (
                "Upper limit",
                f"{percent(test.pd_upper, 1)} distinguishers, one-sided {percent(1 - test.beta)}",
            ),
            ("p similarity", p_value(test.p_similarity)),
        ]
    return block("Results, with 95 % limits", *rows)


def _share(share: float, limits: Interval) -> str:
    return f"{percent(share, 1)} ({percent(limits.low, 1)} to {percent(limits.high, 1)})"


def _risks(summary: SessionSummary) -> dict[str, Any]:
    test, risks = summary.result.test, summary.result.risks
    rows = [
        ("alpha, beta", f"{number(test.alpha)}, {number(test.beta)}"),
        (
            "Agreed limit",
            f"{percent(test.pd_limit)} distinguishers in this test "
            f"(d-prime {number(test.dprime_limit)})",
        ),
        ("Different from", count_or_none(test.critical_count)),
    ]
    if summary.result.replicated is None:
        rows += [
            ("Similar up to", count_or_none(test.similar_count)),
            ("Fair pass", f"{percent(risks.fair_pass, 1)} if nothing changed"),
            ("Wrong pass", f"{percent(risks.wrong_pass, 1)} at the agreed limit"),
            ("Power", f"{percent(risks.power, 1)} at the agreed limit"),
        ]
    return block("Risks", *rows)


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


def _method(summary: SessionSummary) -> str:
    standard = summary.question.standard or str(summary.protocol.standard)
    note = f"; {summary.protocol.standard_note}" if summary.protocol.standard_note else ""
    return f"{summary.protocol.name}, {standard}{note}; exact binomial, Clopper-Pearson limits"


def _assessors(summary: SessionSummary) -> str:
    planned = f"{summary.assessors} counted, {summary.question.assessors} ballots planned"
    return f"{planned}; {summary.details.assessors}" if summary.details.assessors else planned


def _below(summary: SessionSummary) -> list[dict[str, Any]]:
    parts = (
        ("Served otherwise than planned", departures(summary.served)),
        ("Remarks of the checks", summary.remarks),
        ("Done after the finding was seen", summary.afterwards),
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
