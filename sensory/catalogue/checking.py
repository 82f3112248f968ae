"""The one road from rows of text to checked ballots: every cell judged, every fault collected."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from ..base.errors import ArgumentError, Fault
from ..base.results import several
from ..base.spelling import look_alikes, same_person
from .ballot_row import CODE_COLUMNS, BallotRow
from .cells import read_row
from .choice_ballot import CHOICE, ChoiceBallot
from .columns import BallotColumns, Cells, RawRow, filled_lines
from .kind import TestKind
from .question import Question

_CODES = f"codes (or {', '.join(CODE_COLUMNS[:2])} ...)"


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckedBallots:
    """Ballots that passed, and everything that was noticed.

    `rows`: of a forced choice a `ChoiceBallot` a row, without an answer too; of any other test a
        dict an answer, with the columns of its ballot or `attribute` and `score`.
    `missing`: answers left out because their cell is empty.
    `ready`: rows without a blocking fault, those without an answer included.
    `blank`: those of them that hold no answer at all.
    `faults`: blocking ones and remarks, in the order of the rows.
    """

    rows: tuple[Any, ...]
    missing: int
    ready: int
    faults: tuple[Fault, ...]
    blank: int = 0

    @property
    def answered(self) -> tuple[str, ...]:
        """The assessor of each row that holds an answer."""
        return tuple(
            row.assessor if isinstance(row, ChoiceBallot) else str(row["assessor"])
            for row in self.rows
            if not isinstance(row, ChoiceBallot) or row.answer
        )

    @property
    def blocking(self) -> tuple[Fault, ...]:
        """What has to be mended before counting."""
        return tuple(fault for fault in self.faults if fault.blocking)

    @property
    def remarks(self) -> tuple[Fault, ...]:
        """What is counted as it is, and reported."""
        return tuple(fault for fault in self.faults if not fault.blocking)


def check_lines(cells: Cells, kind: TestKind, question: Question) -> CheckedBallots:
    """Judge numbered lines of cells as ballots of one session.

    `cells`: text by line and column.
    `question`: what was agreed: settings such as grades and scale, or the target of a forced
        choice.
    """
    filled = filled_lines(cells)
    typed = ("assessor", "order", "answer", "code_1") if kind.choice else ()
    present = dict.fromkeys([name for texts in filled.values() for name in texts])
    names = {**present, **dict.fromkeys(typed)} if kind.choice else None
    rows = [
        RawRow(
            sheet="",
            row=line,
            cells={name: filled[line].get(name, "") for name in names or filled[line]},
            headings={},
        )
        for line in sorted(filled)
    ]
    return check_rows(rows, kind, question, one_session=True)


def check_rows(
    rows: Sequence[RawRow],
    kind: TestKind | None,
    question: Question,
    *,
    one_session: bool = False,
) -> CheckedBallots:
    """Judge the rows of a table.

    `kind`: None for forced choices of which each row says which it is.
    `one_session`: whether all rows have to belong to one session.
    """
    if question.target not in ("A", "B"):
        raise ArgumentError(f"target must be 'A' or 'B'; got {question.target!r}.")
    ballot = kind.ballot if kind else CHOICE
    missing = _missing_columns(rows, ballot, kind)
    if missing:
        return CheckedBallots(rows=(), missing=0, ready=0, faults=tuple(missing))
    everything = [BallotRow(row=row, ballot=ballot, kind=kind, question=question) for row in rows]
    for row in everything:
        read_row(row)
    served = [row for row in everything if not row.nothing_served]
    _one_spelling(served, ballot)
    _twice(served, ballot)
    whole = _JUDGED[ballot.rows](served, kind)
    sound = [row for row in served if not row.blocked]
    answers: tuple[Any, ...] = tuple(answer for row in sound for answer in row.answers())
    if ballot.rows != "choice":
        whole = [*_of_answers(answers, sum(row.missing for row in served)), *whole]
    whole = [*alike_faults(row.values["assessor"] for row in served), *whole]
    if one_session:
        whole = [*_several_sessions(sound), *whole]
    if ballot.attributes and kind and (agreed := kind.listed(question.settings, "attributes")):
        whole += _not_agreed(rows, ballot, agreed)
        wanted = set(map(same_person, agreed))
        answers = tuple(row for row in answers if same_person(row["attribute"]) in wanted)
    return CheckedBallots(
        rows=answers,
        missing=sum(row.missing for row in served),
        ready=len(sound),
        faults=(*(fault for row in everything for fault in row.faults), *whole),
        blank=sum(row.blank for row in sound),
    )


def _missing_columns(
    rows: Sequence[RawRow], ballot: BallotColumns, kind: TestKind | None
) -> list[Fault]:
    faults = []
    for sheet in dict.fromkeys(row.sheet for row in rows):
        there = {name for row in rows if row.sheet == sheet for name in row.cells}
        advice = {column.name: column.meaning for column in ballot.required}
        if ballot.rows == "choice":
            advice |= {} if kind else {"protocol": ""}
            advice |= {} if there & {"codes", *CODE_COLUMNS} else {_CODES: ""}
            advice = dict.fromkeys(advice, "Add it, or start from the template.")
        faults += [
            Fault(
                sheet=sheet,
                rule="missing column",
                problem=f"The column {name} is missing.",
                advice=what,
            )
            for name, what in advice.items()
            if name not in there
        ]
    return faults


def _one_spelling(rows: list[BallotRow], ballot: BallotColumns) -> None:
    """Persons, samples and attributes in the spelling in which they came first."""
    for column in ballot.columns:
        if column.cell not in ("name", "sample"):
            continue
        first: dict[str, str] = {}
        for row in rows:
            if text := row.values[column.name]:
                row.values[column.name] = first.setdefault(same_person(text), text)
    attributes: dict[str, str] = {}
    for row in rows:
        row.scores = {
            attributes.setdefault(same_person(name), name): score
            for name, score in row.scores.items()
        }


def alike_faults(names: Iterable[str]) -> list[Fault]:
    """A remark for names that look like one person; they are counted as they are."""
    return [
        Fault(
            column="assessor",
            value=", ".join(group),
            rule="looks like one person",
            problem=f"{', '.join(group[:-1])} and {group[-1]} look like one person in several "
            f"spellings; they count as {several(len(group), 'assessor')}.",
            advice="If it is one person, merge them: give one spelling.",
            blocking=False,
        )
        for group in look_alikes(filter(None, names))
    ]


def _twice(rows: list[BallotRow], ballot: BallotColumns) -> None:
    """Two rows for one person, sample and replicate, or what else belongs to one row only."""
    first: dict[tuple[str, ...], int] = {}
    twice = ballot.twice
    for row in rows:
        if not row.values["assessor"] or (row.blocked and not twice.always):
            continue
        if row.key in first:
            words = twice.problem.format(**{**row.values, "row": first[row.key]})
            column = "assessor" if twice.always else ballot.once[0]
            row.note(column, twice.rule, words, twice.advice)
        first.setdefault(row.key, row.row.row)


def _judge_choices(rows: list[BallotRow], kind: TestKind | None) -> list[Fault]:
    """One test a session, and all orders served equally often."""
    leading: dict[str, BallotRow] = {}
    served: dict[str, Counter[str]] = {}
    for row in rows:
        if row.kind is None:
            continue
        session = row.values["session"]
        lead = leading.setdefault(same_person(session), row)
        if lead.kind is not row.kind:
            row.note(
                "protocol",
                "mixed protocols",
                f"The session began as {lead.kind.name if lead.kind else ''}, this row is "
                f"{row.kind.name}.",
                "Put each test into a session of its own.",
            )
        if row.values["order"]:
            served.setdefault(session, Counter())[row.values["order"]] += 1
    faults = []
    for session, times in served.items():
        lead = leading[same_person(session)]
        faults += unbalanced(session, times, lead.kind.serving.order_sets if lead.kind else ())
    if not rows:
        faults.append(
            Fault(rule="no ballots", problem="There are no ballots.", advice="Enter at least one.")
        )
    return faults


def unbalanced(
    session: str, times: Mapping[str, int], sets: tuple[tuple[str, ...], ...]
) -> list[Fault]:
    """A remark where the orders of a session were not served equally often."""
    orders = next((orders for orders in sets if set(times) <= set(orders)), sets[-1])
    numbers = [times.get(order, 0) for order in orders]
    if max(numbers) - min(numbers) <= 1:
        return []
    listed = ", ".join(f"{order} {times.get(order, 0)}" for order in orders)
    where = f" in session {session}" if session else ""
    return [
        Fault(
            rule="unbalanced orders",
            problem=f"The orders were not served equally often{where}: {listed}.",
            advice="An effect of position can look like a difference. Next time serve all "
            "orders equally often.",
            blocking=False,
        )
    ]


def _judge_ranks(rows: list[BallotRow], kind: TestKind | None) -> list[Fault]:
    """Ranks of one person have to be 1, 2 ..., tied samples sharing the mean of theirs."""
    given: dict[str, list[BallotRow]] = {}
    for row in rows:
        if row.values.get("rank") is not None and not row.blocked:
            given.setdefault(same_person(str(row.values["assessor"])), []).append(row)
    for mine in given.values():
        ranks = sorted(float(row.values["rank"]) for row in mine)
        shared = [
            (ranks.index(rank) + 1 + len(ranks) - ranks[::-1].index(rank)) / 2 for rank in ranks
        ]
        if ranks != shared:
            mine[-1].note(
                "rank",
                "not ranks",
                f"The ranks of {mine[-1].values['assessor']} are "
                f"{', '.join(f'{rank:g}' for rank in ranks)}.",
                "They have to be 1, 2 ...; tied samples share the mean, such as 1.5 and 1.5.",
            )
    return []


_JUDGED = {"choice": _judge_choices, "answer": _judge_ranks, "scores": _judge_ranks}


def _several_sessions(rows: list[BallotRow]) -> list[Fault]:
    named = [str(row.values.get("session", "")) for row in rows]
    sessions = sorted({same_person(name): name for name in named}.values())
    if len(sessions) < 2:
        return []
    listed = ", ".join(sessions[:5])
    return [
        Fault(
            column="session",
            value=listed,
            rule="several sessions",
            problem=f"The ballots belong to {len(sessions)} sessions: {listed}.",
            advice="Keep one session in a file, or empty the column.",
        )
    ]


def _not_agreed(rows: Sequence[RawRow], ballot: BallotColumns, agreed: list[str]) -> list[Fault]:
    """A remark for attributes that nobody agreed; they are not read."""
    wanted = set(map(same_person, agreed))
    there = ballot.attributes_in(row.cells for row in rows)
    extra = [name for name in there if same_person(name) not in wanted]
    if not extra:
        return []
    return [
        Fault(
            rule="attribute not agreed",
            problem=f"Not among the agreed attributes, and not read: {', '.join(extra)}.",
            advice="Agree them before tasting, or leave them out.",
            blocking=False,
        )
    ]


def _of_answers(answers: Iterable[Mapping[str, Any]], missing: int) -> list[Fault]:
    """Remarks on the table as a whole: missing answers, scorers that never vary."""
    faults = []
    if missing:
        faults.append(
            Fault(
                rule="missing answers",
                problem=f"{several(missing, 'answer')} missing; left out, never counted as wrong "
                "or zero.",
                advice="Say in the report why, if it is known.",
                blocking=False,
            )
        )
    scored: dict[tuple[str, str], Counter[float]] = {}
    for row in answers:
        if "score" in row:
            pair = (str(row["assessor"]), str(row.get("attribute", "every sample")))
            scored.setdefault(pair, Counter())[row["score"]] += 1
    for (assessor, attribute), counts in scored.items():
        if len(counts) == 1 and counts.total() >= 3:
            faults.append(
                Fault(
                    rule="constant scorer",
                    problem=f"{assessor} gave {attribute} the same score, {counts.total()} times.",
                    advice="Ask whether the scale was used; the scores are counted as they are.",
                    blocking=False,
                )
            )
    return faults
