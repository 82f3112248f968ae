"""Sheets of a serving as PDF: preparation, labels, booth cards, paper ballots, and the key.

Each is a document of its own, so that the key never lies with the ballots.
"""

from __future__ import annotations

import io
import json
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from datetime import date
from typing import Any

from ..base.languages import ballot_words
from ..base.results import several
from ..catalogue.attributes import ReferenceStandard
from ..catalogue.kind import TestKind
from ..catalogue.question import Question
from ..catalogue.scales import agreed_scale
from ..catalogue.tests import find_kind
from ..release.plant import LABEL_SHEETS
from ..serving.ballot_line import codes_of
from ..serving.layout import ServingRow
from ..serving.lines import ballot_lines
from ..serving.plan import ServingPlan
from ..sessions.allergens import together
from ..sessions.care import told_before
from ..sessions.session import SessionDetails
from .documents import Words, compiled

_WARM_UP = "warm-up"
_PAPER_WORDS = (
    *("guess", "comment", "samples", "reference", "leave_out"),
    *("warm_up", "warm_up_asks", "warm_up_leave"),
)
_NO_DATE = "2000-01-01T00:00:00+00:00"


def preparation_pdf(
    plan: ServingPlan,
    details: SessionDetails,
    *,
    rows: Sequence[ServingRow] | None = None,
    allergens: Mapping[str, str] | None = None,
    question: Question | None = None,
    standards: Sequence[ReferenceStandard] = (),
) -> bytes:
    """What to pour into which cup, in one table to tick off, in the order of serving.

    It names the samples, each with its batch, and numbers its pages.

    `rows` are the cups to pour, by default all of the plan; a tray says how many were left out.
    `allergens` are declared by sample and stand beside the portions; by default those of the
    description stand beside its samples. Of a `question` with definitions the reference standards
    of its attributes are to be prepared too; `standards` are the same with the days on record.
    """
    heads = ["", "sample", "batch", "serving", "allergens"][: 4 if allergens else 5]
    poured, declared = set(plan.rows if rows is None else rows), allergens or {}
    trays: dict[tuple[str, int], dict[str, list[list[str]]]] = {}
    missing: Counter[tuple[str, int]] = Counter()
    portions: Counter[str] = Counter()
    batches = {sample.letter: sample.batch for sample in details.samples}
    batches |= {sample.name: sample.batch for sample in details.samples if sample.name}
    for row, number in _numbered(plan):
        sets = trays.setdefault((row.assessor, row.sitting), {})
        if row not in poured:
            missing[row.assessor, row.sitting] += 1
            continue
        name = f"set {number}" if number else _WARM_UP
        batch = batches.get(row.sample, "")
        sets.setdefault(name, []).append([row.code or "labelled", row.sample, batch])
        portions[row.sample] += 1
    return _sheet(
        "preparation",
        {
            "title": details.title,
            "head": "Preparation: for the kitchen only",
            "heads": heads,
            "samples": [
                [sample.letter, sample.name, sample.batch, sample.preparation, sample.allergens][
                    : len(heads)
                ]
                for sample in details.samples
            ],
            "standards": _standards(question, standards),
            "portions": [
                [name, str(count), declared.get(name, "")] for name, count in portions.items()
            ],
            "trays": [
                {
                    "assessor": assessor,
                    "sitting": sitting,
                    "sets": [{"name": name, "cups": cups} for name, cups in sets.items()],
                    "note": f"left out: {several(left, 'cup')}" if left else "",
                }
                for (assessor, sitting), sets in trays.items()
                for left in (missing[assessor, sitting],)
            ],
            "digest": plan.digest,
        },
    )


def _standards(question: Question | None, dated: Sequence[ReferenceStandard]) -> list[list[str]]:
    """The reference standards of the attributes asked, as the kitchen needs them."""
    days = {each.name: (each.made_on, each.usable_until) for each in dated}
    if question is None or question.vocabulary is None:
        return []
    asked = question.vocabulary.asked(find_kind(question.protocol).attributes(question))
    return [
        [
            each.attribute,
            standard.name,
            standard.recipe,
            f"{standard.intensity:g} ({standard.low:g} to {standard.high:g})",
            standard.allergens,
            *days.get(standard.name, ("", "")),
        ]
        for each in asked
        for standard in each.standards
    ]


def key_pdf(plan: ServingPlan, details: SessionDetails) -> bytes:
    """Which sample is under which code. Kept away from ballots and booths."""
    return _sheet(
        "key",
        {
            "title": details.title,
            "head": "Key: not for assessors, not beside the ballots",
            "rows": [
                [row[0], str(row[1]), str(row[2] or _WARM_UP), *row[3:]] for row in plan.key().rows
            ],
            "digest": plan.digest,
        },
    )


def labels_pdf(
    plan: ServingPlan, *, rows: Sequence[ServingRow] | None = None, sheet: str = LABEL_SHEETS[0]
) -> bytes:
    """Labels for the cups: the code, and small who gets it: sitting, set and place in it.

    `rows` are the cups to pour, by default all of the plan; sets count over all of the plan.
    `sheet` is the sheet of labels that is printed on, one of `LABEL_SHEETS`.
    """
    columns, lines = map(int, sheet.split(" x "))
    poured = set(plan.rows if rows is None else rows)
    labels = [
        [
            row.code,
            f"{row.assessor} · {row.sitting}.{number}.{row.position}"
            if number
            else f"{row.assessor} · {row.sitting} {_WARM_UP}",
        ]
        for row, number in _numbered(plan)
        if row.code and row in poured
    ]
    words = {"title": "Labels", "head": "", "rows": labels, "columns": columns, "lines": lines}
    return _sheet("labels", words)


def _numbered(plan: ServingPlan) -> Iterator[tuple[ServingRow, int]]:
    """Each cup with the number of its set among those of the assessor; 0 for a warm-up."""
    met: dict[str, dict[tuple[int, int], int]] = {}
    for row in plan.rows:
        mine = met.setdefault(row.assessor, {})
        number = mine.setdefault((row.replicate, row.set), len(mine) + 1) if row.set else 0
        yield row, number


def booth_cards_pdf(links: Mapping[str, str], language: str) -> bytes:
    """A card for each assessor with the link as a QR code."""
    import segno

    words = ballot_words(language)
    pictures, cards = {}, []
    for number, (assessor, link) in enumerate(links.items()):
        picture = io.BytesIO()
        segno.make(link, error="m").save(picture, kind="svg", border=2, scale=4)
        pictures[f"qr{number}.svg"] = picture.getvalue()
        greeting = words["welcome"].format(assessor=assessor)
        cards.append({"assessor": greeting, "link": link, "picture": f"qr{number}.svg"})
    return _sheet("cards", {"title": "Booth cards", "head": "", "cards": cards}, pictures)


def ballots_pdf(
    lines: Mapping[int, Mapping[str, str]],
    question: Question,
    details: SessionDetails,
    language: str,
    *,
    plan: ServingPlan | None = None,
    rows: Sequence[ServingRow] | None = None,
    break_minutes: int = 0,
    allergens: Mapping[int, str] | None = None,
    warm_up_allergens: str = "",
    session: str = "",
) -> bytes:
    """Paper ballots, one an assessor and set, with codes only; cautions on each.

    Four go on a page, two or one where they need more room: all alike, to be cut in one go. Each
    says how to mark it, its date, and its session by `session`, never by the title, which may say
    what is compared.

    `lines` are those that are served. With a `plan` the ballots say which sitting it is, which
    sample to warm up with, and where a break comes (of `break_minutes` at least; 0 where the leader
    ends it); they count over all of the plan, also where some are not served. `rows` are the cups
    to pour, by default all of the plan. `allergens` are, by line, what its samples hold together: a
    ballot states its own and has a box for leaving it out; by default each states what the
    description of the session says.
    """
    words, kind = ballot_words(language), find_kind(question.protocol)
    scale = agreed_scale(question.settings)
    papers = _papers(lines, kind.serving.labelled, question)
    described = together(sample.allergens for sample in details.samples)
    for paper in papers:
        paper.choices = _choices(kind, question, paper, language)
        held = described
        if allergens is not None:
            held = together(allergens.get(line, "") for line in paper.lines)
        paper.allergens = words["ballot_allergens"].format(allergens=held) if held else ""
    if plan is not None:
        _count(papers, _papers(ballot_lines(plan), 0, question), words)
        _place(papers, plan, plan.rows if rows is None else rows, words, break_minutes)
    warm_up = words["warm_up_allergens"].format(allergens=warm_up_allergens)
    return _sheet(
        "ballots",
        {
            "title": "Ballots",
            "head": "",
            "asks": kind.asked(question, language),
            "mark": words[_mark_key(kind, question, bool(scale.categories))],
            "of": _of_session(session, details.held_on, words),
            "under": "line" if kind.together else "box" if kind.picks else "",
            "cautions": told_before(details.care, words),
            "words": _paper_words(words, details.care.smelling_only),
            "warm_up_holds": warm_up if warm_up_allergens else "",
            "guess": bool(kind.picks),
            "lines": [_line(name, question, words) for name in kind.scored(question.settings)],
            "beside": [
                {"label": label, "choices": list(offered.values())}
                for label, offered in kind.besides(question.settings, language).values()
            ],
            "ballots": [asdict(paper) for paper in papers],
        },
    )


def _choices(kind: TestKind, question: Question, paper: _Paper, language: str) -> list[str]:
    """What is crossed on a paper, in the order in which its booth would show it."""
    shown = kind.words_in(language).answers
    listed = kind.offered_on(question.settings, paper.lines[0], next(iter(paper.codes), ""))
    more = [ballot_words(language)["no_word"]] if kind.answer == "ticks" else []
    return [*(shown.get(answer, answer) for answer in listed), *more]


def _line(name: str, question: Question, words: Mapping[str, Any]) -> Words:
    """A line or the categories of an attribute, with what the words of the product say of it."""
    scale = agreed_scale(question.settings)
    defined = question.vocabulary.of(name) if question.vocabulary else None
    standards = defined.standards if defined else ()
    width = scale.high - scale.low
    return {
        "name": name,
        "about": defined.about(scale, words) if defined else (),
        "anchors": [(standard.intensity - scale.low) / width for standard in standards],
        "ends": defined.ends(scale, words) if defined else scale.ends(name, words),
        "categories": [f"{category:g}" for category in scale.categories],
    }


def _mark_key(kind: TestKind, question: Question, categories: bool) -> str:
    """Key of the words on how a ballot of a test is marked."""
    if kind.together:
        return "mark_places"
    if kind.picks:
        return "mark_two" if kind.picks == 2 else "mark_sample"
    if kind.offered(question.settings):
        return "mark_ticks" if kind.answer == "ticks" else "mark_answer"
    return "mark_categories" if categories else "mark_lines"


def _of_session(session: str, held_on: str, words: Mapping[str, str]) -> str:
    """Which session a ballot belongs to and when it is held, as far as they are known."""
    known = [f"{words['session']} {session}"] if session else []
    with suppress(ValueError):
        known.append(date.fromisoformat(held_on).strftime(words["date_form"]).lstrip("0"))
    return " · ".join(known)


def _paper_words(words: Mapping[str, str], smelling: bool) -> Words:
    """The words of a paper ballot, for tasting or for smelling only."""
    instead = {"samples": "smell_samples", "warm_up_asks": "warm_up_smell"} if smelling else {}
    return {name: words[instead.get(name, name)] for name in _PAPER_WORDS}


@dataclass(slots=True)
class _Paper:
    """A ballot: its codes, the lines it fills, and what stands above and below them."""

    assessor: str
    labelled: int
    head: str
    codes: list[str] = field(default_factory=list)
    lines: list[int] = field(default_factory=list)
    choices: list[str] = field(default_factory=list)
    allergens: str = ""
    warm_up: str = ""
    after: str = ""

    @property
    def cup(self) -> tuple[str, str]:
        """Assessor and first code, by which a plan knows it."""
        return self.assessor, next(iter(self.codes), "")


def _papers(
    lines: Mapping[int, Mapping[str, str]], labelled: int, question: Question
) -> list[_Paper]:
    """Codes ballot by ballot; a ranking has all samples of an assessor on one."""
    on_one = find_kind(question.protocol).together
    papers: dict[object, _Paper] = {}
    for line, texts in sorted(lines.items()):
        assessor = texts["assessor"]
        key = (assessor, texts.get("replicate", "")) if on_one else line
        paper = papers.setdefault(key, _Paper(assessor, labelled, assessor))
        paper.codes += codes_of(texts)
        paper.lines.append(line)
    return list(papers.values())


def _count(papers: list[_Paper], planned: list[_Paper], words: Mapping[str, str]) -> None:
    """Say on each paper which of how many it is, also where some are not served."""
    number: dict[tuple[str, str], int] = {}
    total: Counter[str] = Counter()
    for paper in planned:
        total[paper.assessor] += 1
        number |= {(paper.assessor, code): total[paper.assessor] for code in paper.codes}
    for paper in papers:
        here, count = number.get(paper.cup), total[paper.assessor]
        if here and count > 1:
            paper.head += " · " + words["ballot_of"].format(number=here, all=count)


def _place(
    papers: list[_Paper],
    plan: ServingPlan,
    poured: Sequence[ServingRow],
    words: Mapping[str, str],
    break_minutes: int,
) -> None:
    """Say on each paper its sitting, the warm-up sample before it and the break after it."""
    sittings = plan.design.sittings
    where = {(row.assessor, row.code): row.sitting for row in plan.rows}
    warm = {(row.assessor, row.sitting): row.code for row in poured if not row.set}
    pause = words["break_at_least" if break_minutes else "break_after"]
    before: dict[str, tuple[_Paper, int]] = {}
    for paper in papers:
        name, sitting = paper.assessor, where.get(paper.cup, 1)
        if sittings > 1:
            paper.head += " · " + words["sitting_of"].format(number=sitting, all=sittings)
        earlier, of = before.get(name, (None, 0))
        if of < sitting:
            paper.warm_up = warm.get((name, sitting), "")
            if earlier is not None:
                earlier.after = pause.format(minutes=break_minutes)
        before[name] = (paper, sitting)


def _sheet(kind: str, data: Words, pictures: Mapping[str, bytes] | None = None) -> bytes:
    files = {"data.json": json.dumps(data | {"kind": kind}).encode(), **(pictures or {})}
    return compiled("sheets.typ", files, _NO_DATE)
