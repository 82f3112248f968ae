"""Sheets of a serving as PDF: preparation, labels, booth cards, paper ballots, and the key.

Each is a document of its own, so that the key never lies with the ballots.
"""

from __future__ import annotations

import io
import json
from collections.abc import Mapping, Sequence
from typing import Any

from ..base.languages import ballot_words
from ..base.records import Question, SessionDetails
from ..methods import find_method, find_test
from ..protocols import Protocol
from ..serving.allergens import together
from ..serving.layout import ServingRow
from ..serving.marks import codes_of
from ..serving.plan import ServingPlan
from .documents import compiled

_NO_DATE = "2000-01-01T00:00:00+00:00"


def preparation_pdf(
    plan: ServingPlan,
    details: SessionDetails,
    *,
    rows: Sequence[ServingRow] | None = None,
    allergens: Mapping[str, str] | None = None,
) -> bytes:
    """What to pour into which cup, tray by tray in the order of serving. Names the samples.

    Parameters
    ----------
    plan : ServingPlan
    details : SessionDetails
    rows : sequence of ServingRow
        The cups to pour, by default all of the plan; a tray says how many were left out.
    allergens : mapping of str to str
        Declared allergens by sample, beside the portions; by default those of the description
        stand beside its samples.
    """
    heads = ["", "sample", "batch", "serving", "allergens"][: 4 if allergens else 5]
    poured, declared = plan.rows if rows is None else rows, allergens or {}
    trays: dict[tuple[str, int], list[list[str]]] = {
        (row.assessor, row.sitting): [] for row in plan.rows
    }
    planned, portions = dict.fromkeys(trays, 0), dict[str, int]()
    for row in plan.rows:
        planned[row.assessor, row.sitting] += 1
    for row in poured:
        trays[row.assessor, row.sitting].append([row.code or "labelled", row.sample])
        portions[row.sample] = portions.get(row.sample, 0) + 1
    return _sheet(
        "preparation",
        {
            "title": details.title,
            "head": "Preparation: for the kitchen only",
            "heads": heads,
            "samples": [
                [one.letter, one.name, one.batch, one.preparation, one.allergens][: len(heads)]
                for one in details.samples
            ],
            "portions": [
                [name, str(count), declared.get(name, "")] for name, count in portions.items()
            ],
            "trays": [
                {
                    "assessor": assessor,
                    "sitting": sitting,
                    "cups": cups,
                    "note": _cups_left_out(planned[assessor, sitting] - len(cups)),
                }
                for (assessor, sitting), cups in trays.items()
            ],
            "digest": plan.digest,
        },
    )


def _cups_left_out(count: int) -> str:
    return f"left out: {count} cup{'' if count == 1 else 's'}" if count else ""


def key_pdf(plan: ServingPlan, details: SessionDetails) -> bytes:
    """Which sample is under which code. Kept away from ballots and booths."""
    return _sheet(
        "key",
        {
            "title": details.title,
            "head": "Key: not for assessors, not beside the ballots",
            "rows": [[str(cell) for cell in row] for row in plan.key().rows],
            "digest": plan.digest,
        },
    )


def labels_pdf(plan: ServingPlan, *, rows: Sequence[ServingRow] | None = None) -> bytes:
    """Labels for the cups: the code, and small the assessor and the place on the tray.

    `rows` are the cups to pour, by default all of the plan.
    """
    labels = [
        [row.code, f"{row.assessor} · {row.sitting}.{row.set}.{row.position}"]
        for row in (plan.rows if rows is None else rows)
        if row.code
    ]
    return _sheet("labels", {"title": "Labels", "head": "", "rows": labels})


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
    allergens: Mapping[int, str] | None = None,
) -> bytes:
    """Paper ballots, one an assessor and set, with codes only; cautions on each.

    Parameters
    ----------
    lines : mapping of int to mapping of str to str
        Those that are served.
    question, details, language
    allergens : mapping of int to str
        By line, what its samples hold together; a ballot states its own and has a box for
        leaving it out. By default each states what the description of the session says.
    """
    words, test = ballot_words(language), find_test(question.protocol)
    attribute = question.attribute or str(question.settings.get("attribute", ""))
    described = together(one.allergens for one in details.samples)
    papers = _papers(lines, test.labelled if isinstance(test, Protocol) else 0, question)
    for paper in papers:
        held = described
        if allergens is not None:
            held = together(allergens.get(line, "") for line in paper["lines"])
        paper["allergens"] = words["ballot_allergens"].format(allergens=held) if held else ""
    return _sheet(
        "ballots",
        {
            "title": "Ballots",
            "head": "",
            "asks": words["asks"][test.key].format(attribute=attribute),
            "cautions": [words["caution_general"], words["caution_swallow"]],
            "words": {
                name: words[name]
                for name in ("guess", "comment", "samples", "reference", "leave_out")
            },
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
    on_one = method is not None and method.together
    papers: dict[Any, dict[str, Any]] = {}
    for line, texts in sorted(lines.items()):
        key = (texts["assessor"], texts.get("replicate", "")) if on_one else line
        paper = papers.setdefault(
            key,
            {"assessor": texts["assessor"], "labelled": labelled, "codes": [], "lines": []},
        )
        paper["codes"] += codes_of(texts)
        paper["lines"].append(line)
    return list(papers.values())


def _paper_lines(question: Question, words: Mapping[str, Any]) -> list[list[str]]:
    """Label and ends of each line to mark."""
    method = find_method(question.protocol)
    return [
        [
            name,
            words["scale_low" if name else "far_low"],
            words["scale_high" if name else "far_high"],
        ]
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
