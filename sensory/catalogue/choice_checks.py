"""Rules for forced-choice ballots: every cell is judged, every fault collected."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from ..base.errors import ArgumentError, Fault
from ..choices.protocols import Protocol
from .choice_ballot import CheckedBallots
from .choice_row import RowReader
from .columns import CHOICE_COLUMNS, MOST_CODES, RawRow


def check_choices(
    rows: Sequence[RawRow], *, protocol: Protocol | None = None, target: str = "B"
) -> CheckedBallots:
    """Judge every row; see the rules in the module.

    Parameters
    ----------
    rows : sequence of RawRow
    protocol : Protocol, optional
        What was agreed; without it each row needs its own.
    target : {'B', 'A'}
        For a paired comparison: the sample whose choice counts as correct.
    """
    if target not in ("A", "B"):
        raise ArgumentError(f"target must be 'A' or 'B'; got {target!r}.")
    faults = _missing_columns(rows, protocol)
    if any(fault.blocking for fault in faults):
        return CheckedBallots(ballots=(), faults=tuple(faults))
    everyone = [RowReader(row, protocol, target) for row in rows]
    readers = [reader for reader in everyone if not reader.empty]
    _find_duplicates(readers)
    _find_mixed(readers)
    faults += [fault for reader in everyone for fault in reader.faults]
    ballots = tuple(reader.ballot() for reader in readers if not reader.blocked)
    faults += _unbalanced(readers)
    if not readers:
        faults.append(_whole("no ballots", "There are no ballots.", "Enter at least one."))
    return CheckedBallots(ballots=ballots, faults=tuple(faults))


def _find_duplicates(readers: list[RowReader]) -> None:
    first: dict[tuple[str, str, int], RowReader] = {}
    for reader in readers:
        if not reader.assessor:
            continue
        before = first.setdefault(reader.key, reader)
        if before is not reader:
            reader.note(
                "assessor",
                "second ballot",
                f"{reader.assessor} already has a ballot in replicate "
                f"{reader.replicate}, in row {before.row.row}.",
                "Delete the one that does not count, or number the replicates.",
            )


def _find_mixed(readers: list[RowReader]) -> None:
    """One protocol a session."""
    leading: dict[str, RowReader] = {}
    for reader in readers:
        if reader.protocol is None:
            continue
        lead = leading.setdefault(reader.key[0], reader)
        if lead.protocol is not reader.protocol:
            reader.note(
                "protocol",
                "mixed protocols",
                f"The session began as {lead.protocol.name if lead.protocol else ''}, "
                f"this row is {reader.protocol.name}.",
                "Put each test into a session of its own.",
            )


def _unbalanced(readers: list[RowReader]) -> list[Fault]:
    """A remark for each session whose orders were not served equally often."""
    served: dict[str, Counter[str]] = {}
    protocols: dict[str, Protocol] = {}
    for reader in readers:
        if reader.protocol and reader.order:
            session = reader.text("session")
            served.setdefault(session, Counter())[reader.order] += 1
            protocols.setdefault(session, reader.protocol)
    faults = []
    for session, times in served.items():
        groups = protocols[session].order_sets
        group = next((g for g in groups if set(times) <= set(g)), groups[-1])
        numbers = [times[order] for order in group]
        if max(numbers) - min(numbers) > 1:
            listed = ", ".join(f"{order} {times[order]}" for order in group)
            where = f" in session {session}" if session else ""
            faults.append(
                _whole(
                    "unbalanced orders",
                    f"The orders were not served equally often{where}: {listed}.",
                    "An effect of position can look like a difference. Next time serve all "
                    "orders equally often.",
                    blocking=False,
                )
            )
    return faults


def _missing_columns(rows: Sequence[RawRow], protocol: Protocol | None) -> list[Fault]:
    faults = []
    for sheet in dict.fromkeys(row.sheet for row in rows):
        there = {name for row in rows if row.sheet == sheet for name in row.cells}
        needed = [column.name for column in CHOICE_COLUMNS if column.required]
        if protocol is None:
            needed.append("protocol")
        missing = [name for name in needed if name not in there]
        if not there & ({"codes"} | {f"code_{n}" for n in range(1, MOST_CODES + 1)}):
            missing.append("codes (or code_1, code_2 ...)")
        faults += [
            _whole(
                "missing column",
                f"The column {name} is missing.",
                "Add it, or start from the template.",
                sheet=sheet,
            )
            for name in missing
        ]
    return faults


def _whole(
    rule: str, problem: str, advice: str, *, sheet: str = "", blocking: bool = True
) -> Fault:
    return Fault(
        sheet=sheet,
        row=0,
        column="",
        value="",
        rule=rule,
        problem=problem,
        advice=advice,
        blocking=blocking,
    )
