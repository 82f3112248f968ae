"""A series on paper: a page for the candidate, and the key for whoever fills the cups.

Why so
------
What samples are made of stands on the candidate's page, for who must not taste something has to
know; of odours it does not, since it would name them: there the leader asks before, as the
cautions want it. The key stands on a page of its own, which the candidate does not get. Samples
that bear the names offered at first are named in the language of the page, and on the key in both.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from ..base.languages import ballot_words
from .series import Series, TakenSeries
from .series_plan import KINDS, due, questions

_KEYS = {
    Series.TRIANGLES: "triangles",
    Series.TASTES: "tastes",
    Series.ODOURS: "odours",
    Series.STRENGTHS: "ranking",
    Series.SCALE: "scale",
}
BLANK = "________"


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesSheets:
    """Pages ready to be printed.

    `who`: the line for the candidate's name or code.
    `sentences`, `rows`: of the candidate's page, in the words of its language.
    `key_title`, `key`: of the page for whoever fills the cups: set, code, sample, how it is made.
    """

    language: str
    title: str
    who: str
    sentences: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    key_title: str
    key: tuple[tuple[str, ...], ...]
    printed_at: str


def series_sheets(taken: TakenSeries, *, language: str = "en", printed_at: str) -> SeriesSheets:
    """The pages of a series; of triangles the sets that are due and not answered yet.

    Raises ArgumentError for an unknown language.
    """
    words = ballot_words(language)["series"]
    made = {each.name: each.made for each in taken.samples}
    named: dict[str, str] = words["samples"]
    answered = [at for at, each in enumerate(taken.answers, 1) if each]
    shown = [
        (number, cups)
        for number, cups in enumerate(taken.cups, 1)
        if taken.series is not Series.TRIANGLES or (number <= due(taken) and number not in answered)
    ]
    sentences = [words[_KEYS[taken.series]]]
    if taken.series is Series.ODOURS:
        names = sorted(named.get(each.name, each.name) for each in taken.samples)
        sentences.append(f"{words['names']}: {', '.join(names)}")
    else:
        holds = (named.get(each, each) for each in made.values() if each)
        used = "; ".join(dict.fromkeys(holds))
        sentences.append(words["contains"].format(made=used))
    return SeriesSheets(
        language=language,
        title=words["title"],
        who=f"{words['who']}: {3 * BLANK}",
        sentences=(*sentences, words["rest"]),
        rows=tuple(_rows(taken, [number for number, _ in shown], words)),
        key_title=f"{KINDS[taken.series].title}: not for the candidate",
        key=tuple(
            (str(number), cup.code, _both(cup.sample, named), made[cup.sample])
            for number, cups in shown
            for cup in cups
        ),
        printed_at=printed_at,
    )


def _both(name: str, named: Mapping[str, str]) -> str:
    there = named.get(name, name)
    return name if there == name else f"{name} ({there})"


def _rows(taken: TakenSeries, sets: list[int], words: dict[str, Any]) -> list[tuple[str, ...]]:
    if taken.series is Series.TRIANGLES:
        return [(str(at), *(cup.code for cup in taken.cups[at - 1])) for at in sets]
    asked = questions(taken)
    if taken.series is not Series.STRENGTHS:
        codes = sorted(cup.code for cup in taken.cups[0])
        head = [(" ".join(codes), "")] if taken.series is Series.TASTES else []
        named = words["samples"]
        return [*head, *((named.get(each.label, each.label), BLANK) for each in asked)]
    codes = sorted(cup.code for cup in taken.cups[0])
    ends = {1: f" ({words['weakest']})", len(asked): f" ({words['strongest']})"}
    places = [
        (words["place"].format(number=at) + ends.get(at, ""), BLANK)
        for at in range(1, len(asked) + 1)
    ]
    return [(" ".join(codes), ""), *places]
