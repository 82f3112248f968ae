"""Use cases of the words of a product: defined, changed and removed in versions; standards made.

Why so
------
Each change is the next version, with its reason in the journal, since nobody can say of a profile
which half of a version it used. A standard that is made anew is no new version: what it means
stays, and only its days move.
"""

from __future__ import annotations

from dataclasses import replace

from ..base.errors import RecordError
from ..base.records import utc_now
from ..base.spelling import key_of
from ..catalogue.attributes import DefinedAttribute, ReferenceStandard, Vocabulary
from ..catalogue.question import Question
from ..catalogue.tests import find_kind
from .register import PanelAction, PanelDesk

_DEFINED, _REMOVED, _MADE = "word defined", "word removed", "standard made"


def define(
    desk: PanelDesk,
    product: str,
    word: DefinedAttribute,
    *,
    low: float | None = None,
    high: float | None = None,
    who: str,
    why: str,
) -> Vocabulary:
    """Define a word of a product, or define it anew: the next version of its words.

    Parameters
    ----------
    low, high : float, optional
        Ends of the scale of the intensities; as before where they are not given, 0 and 10 at first.

    A standard that stays as it was keeps the days on which it was made and is usable.

    Raises RecordError without a reason, or for a standard that leaves the scale.
    """
    _reasoned(why)
    with desk.action(who=who, why=f"{word.attribute}: {why.strip()}") as act:
        old = act.noun(Vocabulary, product)
        there = old or Vocabulary(product=" ".join(product.split()), since=_today(), attributes=())
        known = there.of(word.attribute)
        word = replace(word, standards=_dated(word.standards, known))
        kept = [word if each is known else each for each in there.attributes]
        words = tuple(kept if known else [*kept, word])
        ends = (there.low if low is None else low, there.high if high is None else high)
        if known == word and ends == (there.low, there.high):
            return there
        new = replace(there, attributes=words, low=ends[0], high=ends[1])
        return _next(act, old, new, _DEFINED)


def remove_word(desk: PanelDesk, product: str, attribute: str, *, who: str, why: str) -> Vocabulary:
    """Take a word out: the next version is without it, what used it keeps it.

    Raises RecordError without a reason, or for a word that is not there.
    """
    _reasoned(why)
    with desk.action(who=who, why=f"{attribute}: {why.strip()}") as act:
        old = the_words(act, product)
        gone = _the_word(old, attribute)
        kept = tuple(each for each in old.attributes if each is not gone)
        return _next(act, old, replace(old, attributes=kept), _REMOVED)


def standard_made(
    desk: PanelDesk,
    product: str,
    attribute: str,
    standard: str,
    *,
    made_on: str,
    usable_until: str,
    who: str,
) -> Vocabulary:
    """Record that a reference standard was made; the version stays.

    Raises RecordError for a standard that is not there, or days that cannot be.
    """
    with desk.action(who=who, why=f"{standard}, usable until {usable_until}") as act:
        old = the_words(act, product)
        word = _the_word(old, attribute)
        wanted = key_of(standard)
        if wanted not in {key_of(each.name) for each in word.standards}:
            raise RecordError(f"{attribute} has no reference standard {standard!r}.")
        standards = tuple(
            replace(each, made_on=made_on, usable_until=usable_until)
            if key_of(each.name) == wanted
            else each
            for each in word.standards
        )
        made = replace(word, standards=standards)
        words = tuple(made if each is word else each for each in old.attributes)
        new = replace(old, attributes=words)
        act.put_noun(new, expect=old, what=_MADE)
        return new


def the_words(desk: PanelDesk, product: str) -> Vocabulary:
    """The words of a product in their newest version; RecordError where it has none."""
    words = desk.noun(Vocabulary, product)
    if words is None:
        raise RecordError(f"No words of {product} are defined yet.")
    return words


def asked_standards(desk: PanelDesk, question: Question) -> tuple[ReferenceStandard, ...]:
    """The reference standards of what a question asks, with the days on record of each.

    A standard that is no longer on record as the question agreed it has no days.
    """
    words = question.vocabulary
    if words is None:
        return ()
    known = desk.noun(Vocabulary, words.product)
    asked = words.asked(find_kind(question.protocol).attributes(question))
    return tuple(
        standard
        for each in asked
        for standard in _dated(each.standards, known.of(each.attribute) if known else None)
    )


def versions(desk: PanelDesk, words: Vocabulary) -> list[tuple[Vocabulary, str]]:
    """Each version as it was agreed, the newest first, with who changed what and why."""
    return [
        (
            Vocabulary.from_dict(entry.content["noun"]["content"]),
            f"{entry.what} by {entry.by}: {entry.why}",
        )
        for entry in reversed(desk.noun_entries(words))
        if entry.what in (_DEFINED, _REMOVED)
    ]


def _next(act: PanelAction, old: Vocabulary | None, new: Vocabulary, what: str) -> Vocabulary:
    version = old.version + 1 if old else 1
    new = replace(new, version=version, since=_today())
    act.put_noun(new, expect=old, what=what)
    return new


def _dated(
    standards: tuple[ReferenceStandard, ...], known: DefinedAttribute | None
) -> tuple[ReferenceStandard, ...]:
    """The standards with the days of those that stay exactly as they were."""
    before = known.standards if known else ()
    undated = {replace(each, made_on="", usable_until=""): each for each in before}
    return tuple(undated.get(each, each) for each in standards)


def _the_word(words: Vocabulary, attribute: str) -> DefinedAttribute:
    word = words.of(attribute)
    if word is None:
        raise RecordError(f"{attribute!r} is none of the words of {words.product}.")
    return word


def _reasoned(why: str) -> None:
    if not why.strip():
        raise RecordError("Say why; the journal keeps it.")


def _today() -> str:
    return utc_now()[:10]
