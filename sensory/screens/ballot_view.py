"""What the script of a booth draws of a ballot, as plain texts; nothing of the key is among them.

The page gives it with what it draws, and the route with each ballot that is sent: so the next one
is there without a run of the page.
"""

from __future__ import annotations

from typing import Any

from ..base.languages import ballot_words
from ..base.records import JsonObject
from ..sessions.booth_ballots import Asked, BoothBallot, mark_of, still_open
from ..sessions.booths import BoothVisit

WORDS = (
    "saving", "saved", "offline", "still_open", "not_answered", "marked", "send", "leave_out",
    "leave_out_sure", "back", "other_window",
)  # fmt: skip
"""Keys of the words that are the same on each ballot."""


def script_words(language: str) -> dict[str, str]:
    """Words of the script that each ballot has."""
    words = ballot_words(language)
    return {name: str(words[name]) for name in WORDS}


def left_out_words(here: BoothVisit) -> str:
    """Which ballots are left out between the last one sent and what comes next."""
    numbers = ", ".join(map(str, here.left_out))
    return str(ballot_words(here.language)["left_out"].format(numbers=numbers))


def view_of(here: BoothVisit) -> JsonObject | None:
    """The ballot that comes next; None where the link has something else to show before it."""
    waits = here.stopped or here.paused or here.closed or here.barred or here.excused
    if waits or not here.consented or here.ballot is None or here.halt is not None:
        return None
    ballot, words = here.ballot, ballot_words(here.language)
    told = [words["training"]] if here.training else []
    if here.left_out:
        told.append(left_out_words(here))
    picks = [_picks_a_card(ballot, asked) for asked in ballot.asked]
    return {
        "line": ballot.line,
        "number": words["ballot_of"].format(number=ballot.number, all=ballot.all),
        "told": told,
        "title": ballot.asks,
        "pause": words["smell_pause" if here.smelling else "pause"] if ballot.number > 1 else "",
        "allergens": words["ballot_allergens"].format(allergens=ballot.allergens)
        if ballot.allergens
        else "",
        "samples": words["smell_samples" if here.smelling else "samples"],
        "cards": [code or words["reference"] for code in _other_samples(ballot)],
        "fields": [
            *(
                _field(here, ballot, asked, card)
                for asked, card in zip(ballot.asked, picks, strict=True)
            ),
            *_beside(ballot, words),
        ],
        "open": still_open(ballot),
    }


def _picks_a_card(ballot: BoothBallot, asked: Asked) -> bool:
    """Whether the samples themselves are the answers: their cards are the buttons."""
    return bool(asked.choices) and {stored for stored, _ in asked.choices} <= set(ballot.codes)


def _other_samples(ballot: BoothBallot) -> list[str]:
    """The samples whose code stands at no answer."""
    shown = {asked.label for asked in ballot.asked if asked.kind == "place"}
    shown |= {stored for asked in ballot.asked for stored, _ in asked.choices}
    return [code for code in ballot.codes if code not in shown]


def _field(here: BoothVisit, ballot: BoothBallot, asked: Asked, card: bool) -> JsonObject:
    words = ballot_words(here.language)
    label = "" if asked.between else asked.label  # of words to tick it says what is still open
    if asked.kind == "place":
        label = words["place"].format(code=label)
    named = {"scale": words["samples"], "category": words["samples"]}.get(asked.kind, ballot.asks)
    return {
        "row": asked.line,
        "name": asked.name,
        "kind": asked.kind,
        "card": card,
        "label": label,
        "said": label or named,
        "about": list(asked.about),
        "choices": [list(choice) for choice in asked.choices],
        "between": asked.between,
        "ends": list(asked.ends),
        "anchors": list(asked.anchors),
        "held": asked.given,
        "at": mark_of(asked.given, here.scale) if asked.kind == "scale" else None,
    }


def _beside(ballot: BoothBallot, words: Any) -> list[JsonObject]:
    """Whether it was a guess, where the test asks so, and a comment."""
    of_all = {"row": ballot.line, "card": False, "label": "", "about": []}
    comment = {**of_all, "name": "comment", "kind": "text", "said": words["comment"],
               "held": ballot.comment}  # fmt: skip
    if ballot.guess is None:
        return [comment]
    guess = {**of_all, "name": "guess", "kind": "many", "between": ";", "said": words["guess"],
             "choices": [["x", words["guess"]]], "held": "x" if ballot.guess else ""}  # fmt: skip
    return [guess, comment]
