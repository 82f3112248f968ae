"""Everything about one batch as PDF: what is recommended, what was decided, and its trace."""

from __future__ import annotations

import json
from dataclasses import replace

from ..base.results import Table, several
from ..release.batch_file import BatchFile
from ..release.batch_records import AGAIN, BatchRecord
from ..release.batches import Clearance, Disposition
from ..release.disposition import BatchFinding
from ..release.disposition_table import PanelState, ReferenceUse
from ..release.trend_words import batch_count
from ..sessions.session import ADVICE
from .documents import Words, block, fitted, printed_table, stamp
from .words import percent

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
    """The file of a batch as PDF, to be put with its papers; the same file gives the same bytes.

    One page for an ordinary batch; related batches and the journal are printed whole, on more
    pages where needed.
    """
    words = batch_words(file)
    tries = [{"data.json": json.dumps(words | {"size": size}).encode()} for size in _SIZES]
    return fitted("batch.typ", tries, file.printed_at, pages=1)


def batch_words(file: BatchFile) -> Words:
    """Every word and number of the file, as plain data for the template."""
    record = file.record
    decides = file.rule.decides if file.rule else "the authorised person of the plant"
    return {
        "kind": f"Batch file · {record.batch.product}",
        "title": f"Batch {record.name}",
        "barred": not_to_be_tasted(record),
        "recommended": _recommended(file),
        "decided": _decided(record),
        "reasons": list(file.finding.reasons) if file.finding else [],
        "left": [
            block(
                "What it is and where it came from",
                *((str(what).capitalize(), str(value)) for what, value in file.facts().rows),
            ),
            block(
                "Clearance",
                *(
                    (str(what).capitalize(), f"{value} ({by}, {on})" if by else str(value))
                    for what, value, by, on in file.clearance().rows
                ),
            ),
            _rule(file),
        ],
        "right": [_stands_on(file.finding), _reference(file), *_causes(file), *_together(file)],
        "tables": [table for table in _tables(file) if table["rows"]],
        "advice": f"{ADVICE} {SAFETY}",
        "sign": "" if record.state == "done" else f"Decision of {decides}:",
        "footer": f"Batch {record.name} · printed {stamp(file.printed_at)} · program version "
        f"{file.version}" + (f" · {file.newest.words}" if file.newest else ""),
    }


def not_to_be_tasted(record: BatchRecord) -> str:
    """Why nobody may taste the batch; empty where it is cleared and declared."""
    clearance = record.clearance or Clearance(batch=record.name)
    if clearance.complete:
        return ""
    if clearance.food_safe is False:
        return "Food safety refused it: the batch must not be tasted."
    missing = []
    if clearance.food_safe is None:
        after = " after the complaint" if record.complained else ""
        missing.append(f"food safety has cleared it{after}")
    if not clearance.declared:
        missing.append("its allergens are declared")
    return f"The batch must not be tasted before {' and '.join(missing)}."


def done_words(record: BatchRecord) -> str:
    """What was decided on a batch, or that nothing was."""
    if record.standing.startswith(AGAIN):
        return f"{record.standing[:1].upper()}{record.standing[1:]}"
    return _DONE[record.decision.disposition] if record.decision else "Not decided"


def _recommended(file: BatchFile) -> Words:
    finding = file.finding
    if finding is None:
        why = file.why_none or "No release rule is agreed."
        return {"label": "Recommendation", "heading": "None", "lines": [why]}
    return {
        "label": "Recommended by the release rule, not decided by it",
        "heading": finding.disposition.value.capitalize(),
        "lines": [
            *([finding.headline] if finding.repeated else []),
            finding.sentence,
            *(["Release is blocked."] if finding.blocked else []),
        ],
    }


def _decided(record: BatchRecord) -> Words:
    decision = record.decision
    waits = [f"It waits for: {record.waits_for}."] if decision is None or record.waits_for else []
    if (first := record.proposed) is not None:
        what = first.disposition.value.lower()
        waits.insert(0, f"Decided, not confirmed: {what}, {first.signers}: {first.reason}")
    if decision is None:
        return {"label": "Decision", "heading": "Not decided", "lines": waits, "strong": False}
    at = decision.decided_at
    when = stamp(at) if "T" in at else at
    lines = [f"{decision.signers}, {when}: {decision.reason}"]
    if decision.cause:
        lines.append(f"Cause: {decision.cause}.")
    if decision.departs and decision.recommended is not None:
        recommended = decision.recommended.value.lower()
        lines.append(f"It departs from what was recommended then: {recommended}.")
    heading, label = done_words(record), "Decided"
    if record.standing.startswith(AGAIN):
        lines.insert(0, f"Before: {_DONE[decision.disposition].lower()}.")
        label = "Decision"
    return {"label": label, "heading": heading, "lines": [*lines, *waits], "strong": True}


def _stands_on(finding: BatchFinding | None) -> Words:
    heading = "What the recommendation stands on"
    if finding is None:
        return block(heading, ("Finding", "none"))
    risk = "" if finding.true_risk is None else percent(finding.true_risk, 1)
    return block(
        heading,
        ("Finding", finding.headline),
        ("Panel", _PANEL[finding.panel] if finding.finding else ""),
        ("Reference", _REFERENCE[finding.reference]),
        ("Attempts", several(finding.attempts, "tasting")),
        ("Risk", f"one at the limit passes with a chance of {risk} at most" if risk else ""),
    )


def _reference(file: BatchFile) -> Words:
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


def _causes(file: BatchFile) -> list[Words]:
    """What most likely moved the batch, where its year names a cause that it has."""
    if not file.causes:
        return []
    return [block("Likely causes", *(("Most likely", cause) for cause in file.causes))]


def _together(file: BatchFile) -> list[Words]:
    """What its choice tests show together, from two on."""
    if file.evidence is None:
        return []
    return [block("All tastings together", ("d-prime", " ".join(file.evidence.says())))]


def _rule(file: BatchFile) -> Words:
    if file.rule is None:
        return block("Release rule", ("Rule", "none agreed"))
    return block("Release rule", *zip(("Test", "Limit", "Risks"), file.rule.words(), strict=False))


def _tables(file: BatchFile) -> list[Words]:
    rated = any(tasting.differences for tasting in file.record.tastings)
    note = "Differences are batch less reference, in points of the scale." if rated else ""
    decisions = file.decisions()
    changed = replace(decisions, rows=decisions.rows if len(decisions.rows) > 1 else ())
    return [
        _table("Complaints", file.complaints(), (2, 5, 3, 2, 2, 4, 3)),
        _table("Tastings, every attempt", file.tastings(), (3, 2, 6, 4, 2), note),
        _table("Comments of assessors, without names", file.remarks(), (1, 3, 8, 1)),
        _table("Decisions; the last one stands", changed, (3, 2, 2, 5, 6, 2)),
        _related(file),
        _table("Journal", file.events(), (1, 3, 3, 3, 8)),
    ]


def _related(file: BatchFile) -> Words:
    """Every batch that shares a lot or rework, once, with all that it shares."""
    sisters = file.sisters()
    rows = tuple(
        (
            sister.record.name,
            sister.record.batch.made_on,
            sister.record.batch.line,
            sister.record.found_in_words,
            done_words(sister.record),
            "; ".join(sister.shares),
        )
        for sister in sisters
    )
    columns = ("batch", "made on", "line", "finding", "decision", "shares")
    released = sum(sister.record.standing == "release" for sister in sisters)
    note = f"{batch_count(len(rows))}, {released} of them released. Those that share what few "
    note += "batches have come first."
    heading = "Batches from the same lots and rework"
    return _table(heading, Table(columns=columns, rows=rows), (3, 2, 2, 4, 3, 6), note)


def _table(heading: str, table: Table, widths: tuple[int, ...], note: str = "") -> Words:
    return printed_table(table, heading=heading, note=note, widths=list(widths))
