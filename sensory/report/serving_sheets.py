"""Sheets of a serving as PDF: preparation, labels, booth cards, paper ballots, and the key.

Each is a document of its own, so that the key never lies with the ballots.
"""

from __future__ import annotations

import io
import json
from collections.abc import Iterator, Mapping
from typing import Any

from ..base.languages import ballot_words
from ..base.records import Question, SessionDetails
from ..methods import asked_in, find_method, find_test
from ..protocols import Protocol
from ..scales import agreed_scale
from ..serving.layout import ServingRow
from ..serving.plan import ServingPlan
from .documents import compiled

_WARM_UP = "warm-up"
_PAPER_WORDS = ("guess", "comment", "samples", "reference", "warm_up", "warm_up_asks")
_NO_DATE = "2000-01-01T00:00:00+00:00"


def preparation_pdf(plan: ServingPlan, details: SessionDetails) -> bytes:
    """What to pour into which cup, tray by tray in the order of serving. Names the samples."""
    trays: dict[tuple[str, int], dict[str, list[list[str]]]] = {}
    portions: dict[str, int] = {}
    for row, number in _numbered(plan):
        sets = trays.setdefault((row.assessor, row.sitting), {})
        name = f"set {number}" if number else _WARM_UP
        sets.setdefault(name, []).append([row.code or "labelled", row.sample])
        portions[row.sample] = portions.get(row.sample, 0) + 1
    return _sheet(
        "preparation",
        {
            "title": details.title,
            "head": "Preparation: for the kitchen only",
            "samples": [
                [one.letter, one.name, one.batch, one.preparation, one.allergens]
                for one in details.samples
            ],
            "portions": [[name, str(count)] for name, count in portions.items()],
            "trays": [
                {
                    "assessor": assessor,
                    "sitting": sitting,
                    "sets": [{"name": name, "cups": cups} for name, cups in sets.items()],
                }
                for (assessor, sitting), sets in trays.items()
            ],
            "digest": plan.digest,
        },
    )


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


def labels_pdf(plan: ServingPlan) -> bytes:
    """Labels for the cups: the code, and small who gets it: sitting, set and place in it."""
    rows = [
        [
            row.code,
            f"{row.assessor} · {row.sitting}.{number}.{row.position}"
            if number
            else f"{row.assessor} · {row.sitting} {_WARM_UP}",
        ]
        for row, number in _numbered(plan)
        if row.code
    ]
    return _sheet("labels", {"title": "Labels", "head": "", "rows": rows})


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
    plan: ServingPlan | None = None,
    break_minutes: int = 0,
) -> bytes:
    """Paper ballots, one an assessor and set, with codes only; cautions on each.

    With the plan they say which sitting it is, which sample to warm up with, and where a break
    comes; `break_minutes` is 0 where the leader ends it.
    """
    words, test = ballot_words(language), find_test(question.protocol)
    allergens = "; ".join(dict.fromkeys(one.allergens for one in details.samples if one.allergens))
    labelled = test.labelled if isinstance(test, Protocol) else 0
    papers = _papers(lines, labelled, question)
    _placed(papers, plan, words, break_minutes)
    cautions = [words["caution_general"], words["caution_swallow"]]
    if allergens:
        cautions.insert(0, words["caution_allergens"].format(allergens=allergens))
    return _sheet(
        "ballots",
        {
            "title": "Ballots",
            "head": "",
            "asks": asked_in(words, question),
            "cautions": cautions,
            "words": {name: words[name] for name in _PAPER_WORDS},
            "guess": isinstance(test, Protocol),
            "lines": _paper_lines(question, words),
            "choices": _paper_choices(question, words),
            "ballots": papers,
        },
    )


def _papers(
    lines: Mapping[int, Mapping[str, str]], labelled: int, question: Question
) -> list[dict[str, Any]]:
    """Codes ballot by ballot; a ranking has all samples of an assessor on one."""
    method = find_method(question.protocol)
    together = method is not None and method.together
    papers: dict[Any, dict[str, Any]] = {}
    for line, texts in sorted(lines.items()):
        key = (texts["assessor"], texts.get("replicate", "")) if together else line
        paper = papers.setdefault(
            key, {"assessor": texts["assessor"], "labelled": labelled, "codes": []}
        )
        single = [texts[name] for name in ("code", "codes") if texts.get(name)]
        paper["codes"] += [code for text in single for code in text.split()]
        paper["codes"] += [texts[f"code_{n}"] for n in range(1, 6) if texts.get(f"code_{n}")]
    return list(papers.values())


def _placed(
    papers: list[dict[str, Any]],
    plan: ServingPlan | None,
    words: Mapping[str, Any],
    break_minutes: int,
) -> None:
    """Say on each paper its number and sitting, the warm-up sample and the break after it."""
    sittings = plan.design.sittings if plan else 1
    where = {(row.assessor, row.code): row.sitting for row in (plan.rows if plan else ())}
    warm = {
        (row.assessor, row.sitting): row.code for row in (plan.rows if plan else ()) if not row.set
    }
    mine: dict[str, list[dict[str, Any]]] = {}
    for paper in papers:
        mine.setdefault(paper["assessor"], []).append(paper)
    for one in mine.values():
        at = [where.get((paper["assessor"], next(iter(paper["codes"]), "")), 1) for paper in one]
        for place, (paper, sitting) in enumerate(zip(one, at, strict=True)):
            said = [paper["assessor"]]
            if len(one) > 1:
                said.append(words["ballot_of"].format(number=place + 1, all=len(one)))
            if sittings > 1:
                said.append(words["sitting_of"].format(number=sitting, all=sittings))
            begins = place == 0 or at[place - 1] < sitting
            ends = place + 1 < len(one) and at[place + 1] > sitting
            pause = words["break_at_least" if break_minutes else "break_after"]
            paper["head"] = " · ".join(said)
            paper["warm_up"] = warm.get((paper["assessor"], sitting), "") if begins else ""
            paper["after"] = pause.format(minutes=break_minutes) if ends else ""


def _paper_lines(question: Question, words: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Label and ends of each scale, and its categories where it is no line."""
    method, scale = find_method(question.protocol), agreed_scale(question.settings)
    categories = [f"{one:g}" for one in scale.categories]
    return [
        {"name": name, "ends": scale.ends(name, words), "categories": categories}
        for name in (method.scored(question.settings) if method else [])
    ]


def _paper_choices(question: Question, words: Mapping[str, Any]) -> list[str]:
    """Words to tick, where the answer is not a code."""
    method = find_method(question.protocol)
    offered = method.offered(question.settings) if method else []
    return [words["answers"].get(one, one) for one in offered]


def _sheet(kind: str, data: dict[str, Any], pictures: Mapping[str, bytes] | None = None) -> bytes:
    files = {"data.json": json.dumps(data | {"kind": kind}).encode(), **(pictures or {})}
    return compiled("sheets.typ", files, _NO_DATE)
