"""Everything about one batch as PDF: what is recommended, what was decided, and its trace."""

from __future__ import annotations

import json
from typing import Any

from ..base.results import Table, several
from ..release.batch_file import BatchFile
from ..release.batch_records import BatchRecord, Decision
from ..release.batches import Disposition
from ..release.disposition import BatchFinding
from ..release.disposition_table import PanelState, ReferenceUse
from ..release.trend_words import batch_count
from ..sessions.session import ADVICE
from .documents import block, fitted, stamp
from .words import number, percent

_SIZES = (8.4, 8.0, 7.6, 8.4)
"""Of the type, for one page; what needs more pages is printed in the first one again."""
_DONE = {
    Disposition.RELEASE: "Released",
    Disposition.HOLD: "Held",
    Disposition.RETEST: "To be tasted a second time, as planned",
    Disposition.REJECT: "Rejected",
    Disposition.REWORK: "Sent to rework",
}
_PANEL = {
    PanelState.SEES: "could have seen the limit on that day",
    PanelState.BLIND: "could not have seen the limit on that day",
    PanelState.NOT_SHOWN: "not shown that it could have seen the limit",
    PanelState.NOT_NEEDED: "the number of answers carries the risks",
}
_REFERENCE = {
    ReferenceUse.USABLE: "may be used",
    ReferenceUse.NOT_USABLE: "may not be used",
    ReferenceUse.NOT_STATED: "not stated",
}
SAFETY = (
    "A batch under complaint or suspected contamination is not tasted until food safety has "
    "cleared it; no sensory finding changes that."
)


def batch_pdf(file: BatchFile) -> bytes:
    """The file of a batch, to be put with its papers.

    Returns
    -------
    bytes
        A PDF with text as text; the same form gives the same bytes. One page for an ordinary
        batch; related batches and the journal are printed whole, on more pages where needed.
    """
    words = batch_words(file)
    tries = [{"data.json": json.dumps(words | {"size": size}).encode()} for size in _SIZES]
    return fitted("batch.typ", tries, file.printed_at, pages=1)


def batch_words(file: BatchFile) -> dict[str, Any]:
    """Every word and number of the file, as plain data for the template."""
    record = file.record
    return {
        "kind": f"Batch file · {record.batch.product}",
        "title": f"Batch {record.name}",
        "barred": not_to_be_tasted(record),
        "recommended": _recommended(file),
        "decided": _decided(record),
        "reasons": _reasons(file),
        "left": [_origin(file), _clearance(file), _rule(file)],
        "right": [_stands_on(file.finding), _reference(file)],
        "tables": [table for table in _tables(file) if table["rows"]],
        "advice": f"{ADVICE} {SAFETY}",
        "sign": "" if record.state == "done" else f"Decision of {_decides(file)}:",
        "footer": f"Batch {record.name} · printed {stamp(file.printed_at)} · program version "
        f"{file.version}",
    }


def not_to_be_tasted(record: BatchRecord) -> str:
    """Why nobody may taste the batch; empty where it is cleared and declared."""
    there = record.clearance
    if there is not None and there.complete:
        return ""
    if there is not None and there.food_safe is False:
        return "Food safety refused it: the batch must not be tasted."
    missing = []
    if there is None or there.food_safe is None:
        after = " after the complaint" if record.complained else ""
        missing.append(f"food safety has cleared it{after}")
    if there is None or not there.declared:
        missing.append("its allergens are declared")
    return f"The batch must not be tasted before {' and '.join(missing)}."


def done_words(record: BatchRecord) -> str:
    """What was decided on a batch, or that nothing was."""
    if record.decision is None:
        return "Not decided"
    done = _DONE[record.decision.disposition]
    return f"{done}, before a complaint" if record.complained else done


def _recommended(file: BatchFile) -> dict[str, Any]:
    found = file.finding
    if found is None:
        why = file.why_none or "No release rule is agreed."
        return {"label": "Recommendation", "heading": "None", "lines": [why]}
    lines = [found.sentence]
    if found.blocked:
        lines.append("Release is blocked.")
    label = "Recommended by the release rule, not decided by it"
    return {"label": label, "heading": found.disposition.value.capitalize(), "lines": lines}


def _decided(record: BatchRecord) -> dict[str, Any]:
    one = record.decision
    if one is None:
        lines = [f"It waits for: {record.waits_for}."]
        return {"label": "Decision", "heading": "Not decided", "lines": lines, "strong": False}
    lines = [f"{_by(one)}, {_when(one)}: {one.reason}"]
    if one.departs and one.recommended is not None:
        lines.append(f"It departs from what was recommended then: {one.recommended.value.lower()}.")
    if record.waits_for:
        lines.append(f"It waits for: {record.waits_for}.")
    return {"label": "Decided", "heading": done_words(record), "lines": lines, "strong": True}


def _by(one: Decision) -> str:
    return f"{one.decided_by}, {one.role}"


def _when(one: Decision) -> str:
    return stamp(one.decided_at) if "T" in one.decided_at else one.decided_at


def _decides(file: BatchFile) -> str:
    return file.rule.decides if file.rule else "the authorised person of the plant"


def _reasons(file: BatchFile) -> list[str]:
    return list(file.finding.reasons) if file.finding else []


def _origin(file: BatchFile) -> dict[str, Any]:
    rows = [(str(what).capitalize(), str(value)) for what, value in file.facts().rows]
    return block("What it is and where it came from", *rows)


def _clearance(file: BatchFile) -> dict[str, Any]:
    rows = []
    for what, value, by, on in file.clearance().rows:
        signed = f" ({by}, {on})" if by else ""
        rows.append((str(what).capitalize(), f"{value}{signed}"))
    return block("Clearance", *rows)


def _stands_on(found: BatchFinding | None) -> dict[str, Any]:
    if found is None:
        return block("What the recommendation stands on", ("Finding", "none"))
    risk = "" if found.true_risk is None else percent(found.true_risk, 1)
    return block(
        "What the recommendation stands on",
        ("Finding", "not tasted" if found.finding is None else found.finding.sentence),
        ("Panel", _PANEL[found.panel] if found.finding else ""),
        ("Reference", _REFERENCE[found.reference]),
        ("Attempts", several(found.attempts, "tasting")),
        ("Risk", f"one at the limit passes with a chance of {risk} at most" if risk else ""),
    )


def _reference(file: BatchFile) -> dict[str, Any]:
    state = file.reference
    if state is None:
        return block("Reference", ("Name", file.record.reference or "none yet"))
    return block(
        "Reference",
        ("Name", state.reference.name),
        ("Batch", state.reference.batch),
        (f"On {state.today}", " ".join(state.says())),
        ("Storage", state.reference.storage),
    )


def _rule(file: BatchFile) -> dict[str, Any]:
    if file.rule is None:
        return block("Release rule", ("Rule", "none agreed"))
    test, limit, risks, *_ = file.rule.words()
    return block("Release rule", ("Test", test), ("Limit", limit), ("Risks", risks))


def _tables(file: BatchFile) -> list[dict[str, Any]]:
    rated = any(one.differences for one in file.record.tastings)
    note = "Differences are batch less reference, in points of the scale." if rated else ""
    decisions = file.decisions()
    several_times = decisions.rows if len(decisions.rows) > 1 else ()
    return [
        _table("Complaints", file.complaints(), (2, 10)),
        _table("Tastings, every attempt", file.tastings(), (3, 2, 6, 4, 2), note),
        _table(
            "Decisions; the last one stands",
            Table(columns=decisions.columns, rows=several_times),
            (3, 2, 2, 5, 6),
        ),
        _related(file),
        _table("Journal", file.events(), (1, 3, 3, 3, 8)),
    ]


def _related(file: BatchFile) -> dict[str, Any]:
    """Every batch that shares a lot or rework, once, with all that it shares."""
    shares: dict[str, list[str]] = {}
    others: dict[str, BatchRecord] = {}
    for kin in file.kin:
        for one in kin.batches:
            others[one.name] = one
            shares.setdefault(one.name, []).append(kin.name)
    ordered = sorted(others.values(), key=lambda one: (one.batch.made_on, one.name))
    rows = tuple(
        (
            one.name,
            one.batch.made_on,
            one.batch.line,
            one.latest.finding.heading if one.latest and one.latest.finding else "Not tasted",
            done_words(one),
            "; ".join(shares[one.name]),
        )
        for one in ordered
    )
    columns = ("batch", "made on", "line", "finding", "decision", "shares")
    released = sum(
        one.decision is not None and one.decision.disposition is Disposition.RELEASE
        for one in ordered
    )
    note = f"{batch_count(len(rows))}, {released} of them released."
    heading = "Other batches of the same lots and rework"
    return _table(heading, Table(columns=columns, rows=rows), (3, 2, 2, 4, 3, 6), note)


def _table(heading: str, table: Table, widths: tuple[int, ...], note: str = "") -> dict[str, Any]:
    rows = [[number(cell) for cell in row] for row in table.rows]
    return {
        "heading": heading,
        "columns": list(table.columns),
        "rows": rows,
        "widths": list(widths),
        "note": note,
    }
