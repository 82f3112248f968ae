"""One frozen entry a test: how it is named, asked, served, answered, checked and read.

To add a test, write one `TestKind`, in a file of its family or anywhere else, and `register` it.
Nothing else in the house asks which test it has in hand: it asks the entry.

A test of its own road for forced choices and another one for everything else was tried: the
two disagreed within months.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any, ClassVar, Literal

from ..base.errors import ArgumentError, RecordError
from ..base.standards import Standard
from ..choices.protocols import Protocol
from .columns import BallotColumns
from .defects import NONE
from .kind_parts import (
    KnownTruth as KnownTruth,
)
from .kind_parts import (
    ReleaseTerms as ReleaseTerms,
)
from .kind_parts import (
    ServingRules as ServingRules,
)
from .kind_parts import (
    Words as Words,
)
from .outcome import Outcome
from .question import Question
from .scales import Setting, agreed_scale
from .typed_lists import check_list, in_own_order, in_words, parts_of
from .typed_margins import typed_margins

Reader = Callable[[Sequence[Any], Question], Outcome]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TestKind:
    """One test.

    Attributes
    ----------
    key, name : str
    standard : Standard or str
        Out of the table of editions; text for a test from outside the package.
    standard_note : str
        Which clause, or what the standard covers, where the test has none of its own.
    asks : str
        What is asked, in general terms.
    words : mapping of str to Words
        What the ballot says, by code of the language; English is taken where one is missing.
    letters : str
        How the samples are named on a ballot.
    ballot : BallotColumns
    serving : ServingRules
    read : callable
        (checked answers, question) to what they show.
    settings : tuple of Setting
    similarity : bool
        Whether its answers can show similarity at all.
    former : mapping of str to str
        Settings, with their labels, that questions of old may hold and that mean nothing now.
    answer : {'codes', 'choice', 'grade', 'place', 'score', 'scores', 'ticks'}
        What a ballot takes: codes of the samples named, one of `choices`, an agreed grade, a
        place for each sample, a score, a score for each agreed attribute, or ticks at those of
        the agreed words that apply.
    choices : tuple of str
    by_name : bool
        Whether samples have names of their own, instead of the letters A and B.
    protocol : Protocol or None
        The statistics of a forced choice.
    sets_of : Protocol or None
        Of a test made of many forced choices: that of each set.
    pairs : callable or None
        Of such a test: settings to the two samples of each set, in the order of serving.
    counts_people : bool
        Whether a question plans how many assessors come, not how many ballots.
    finds : str
        What a session can find, where that is neither difference nor similarity; may hold
        ``{alpha}`` and ``{beta}``.
    release : ReleaseTerms or None
        None where no batch can be released by it.
    beside : mapping of str to callable
        Further columns of a ballot that are chosen from words: settings to these words.
    fits : callable
        Refuses settings that do not go together with an ArgumentError.
    known_truth : callable or None
        (checked answers, question) to what each assessor made of samples whose truth is known.
    reads_known : callable or None
        As `read`, with what each assessor made of such samples on the days before, where the
        setting ``known_days`` says how many of these count.
    planning : callable
        Question to sentences on how many ballots it takes, where nothing else has to be known.
    """

    __test__: ClassVar[bool] = False

    key: str
    name: str
    standard: Standard | str
    standard_note: str = ""
    asks: str
    words: Mapping[str, Words]
    letters: str
    ballot: BallotColumns
    serving: ServingRules
    read: Reader
    settings: tuple[Setting, ...] = ()
    similarity: bool = True
    former: Mapping[str, str] = field(default_factory=dict)
    answer: Literal["codes", "choice", "grade", "place", "score", "scores", "ticks"] = "choice"
    choices: tuple[str, ...] = ()
    by_name: bool = True
    protocol: Protocol | None = None
    sets_of: Protocol | None = None
    pairs: Callable[[Mapping[str, Any]], list[tuple[str, str]]] | None = None
    counts_people: bool = False
    finds: str = ""
    release: ReleaseTerms | None = None
    beside: Mapping[str, Callable[[Mapping[str, Any]], list[str]]] = field(default_factory=dict)
    fits: Callable[[Mapping[str, Any]], None] = lambda settings: None
    known_truth: Callable[[Sequence[Any], Question], Mapping[str, KnownTruth]] | None = None
    reads_known: Callable[[Sequence[Any], Question, Mapping[str, KnownTruth]], Outcome] | None = (
        None
    )
    planning: Callable[[Question], tuple[str, ...]] = lambda question: ()

    @property
    def together(self) -> bool:
        """Whether all samples of an assessor stand on one ballot."""
        return self.answer == "place"

    @property
    def choice(self) -> Protocol | None:
        """The forced choice that a ballot is, whether or not it is all of the test."""
        return self.protocol or self.sets_of

    @property
    def picks(self) -> int:
        """How many coded samples the assessor names; 0 where none is named."""
        return self.choice.picks if self.choice else 0

    def asked(self, question: Question, language: str) -> str:
        """What the ballot asks, in the words of a language."""
        words = self.words_in(language)
        asks = words.asks
        if words.in_categories and agreed_scale(question.settings).categories:
            asks = words.in_categories
        attribute = question.attribute or str(question.settings.get("attribute", ""))
        return asks.format(attribute=attribute)

    def words_in(self, language: str) -> Words:
        """The words of a language, or the English ones."""
        return self.words.get(language, self.words["en"])

    def scored(self, settings: Mapping[str, Any]) -> list[str]:
        """What is marked on a line: the agreed attributes, one line without a name, or nothing.

        >>> from sensory.catalogue.tests import find_kind
        >>> find_kind("profile").scored({"attributes": "sweet; sour"})
        ['sweet', 'sour']
        """
        if self.answer == "scores":
            return self.listed(settings, "attributes")
        return [""] if self.answer == "score" else []

    def attributes(self, question: Question) -> tuple[str, ...]:
        """The attributes that a question agreed; none where the test has none."""
        return tuple(self.listed(question.settings, "attributes"))

    def offered(self, settings: Mapping[str, Any]) -> list[str]:
        """Words that an answer is chosen from: the choices, or the agreed grades or words."""
        agreed = {"grade": "grades", "ticks": "words"}.get(self.answer)
        return self.listed(settings, agreed) if agreed else list(self.choices)

    def offered_on(self, settings: Mapping[str, Any], line: int, code: str) -> list[str]:
        """As `offered`, in the order of one ballot: words to tick stand in one of its own."""
        words = self.offered(settings)
        return in_own_order(words, line, code) if self.answer == "ticks" else words

    def besides(
        self, settings: Mapping[str, Any], language: str
    ) -> dict[str, tuple[str, dict[str, str]]]:
        """By further column what is asked, and what is stored to what is shown; none goes last."""
        words, asked = self.words_in(language), {}
        for column, offers in self.beside.items():
            if listed := offers(settings):
                shown = {each: words.answers.get(each, each) for each in (*listed, NONE)}
                asked[column] = (words.beside.get(column, column), shown)
        return asked

    def has_setting(self, key: str) -> bool:
        """Whether there is a setting of that key."""
        return any(setting.key == key for setting in self.settings)

    def setting(self, settings: Mapping[str, Any], key: str) -> Any:
        """An agreed setting, or its default."""
        default = next((known.default for known in self.settings if known.key == key), 0.0)
        return settings.get(key, default)

    def agreed_number(self, settings: Mapping[str, Any], key: str) -> float:
        """A number that has to be agreed; RecordError where nobody did."""
        value = self.setting(settings, key)
        if value is None:
            label = next(known.label for known in self.settings if known.key == key)
            raise RecordError(f"{label}: nobody has agreed one.")
        return float(value)

    def offered_settings(self, settings: Mapping[str, Any]) -> tuple[Setting, ...]:
        """The settings that mean something beside the others."""
        scale = self.setting(settings, "scale")
        return tuple(known for known in self.settings if known.scale in (None, scale))

    def agreed_settings(self, settings: Mapping[str, Any]) -> list[tuple[str, Any]]:
        """Labels and values of what was agreed, defaults included; for pages and reports."""
        return [
            (known.label, in_words(now) if known.kind == "text" else now)
            for known in self.offered_settings(settings)
            for now in (self.setting(settings, known.key),)
            if not known.optional or known.key in settings
        ] + [(label, settings[key]) for key, label in self.former.items() if key in settings]

    def listed(self, settings: Mapping[str, Any], key: str) -> list[str]:
        """A setting that holds several words, separated by semicolons; none without it.

        >>> from sensory.catalogue.tests import find_kind
        >>> find_kind("SURENESS").listed({"grades": "same; unsure ;different"}, "grades")
        ['same', 'unsure', 'different']
        """
        if not self.has_setting(key):
            return []
        return parts_of(in_words(self.setting(settings, key)))

    def missing(self, question: Question) -> list[str]:
        """What has to be stated before a question with this test can be agreed."""
        if self.protocol and self.protocol.asks_attribute and not question.attribute.strip():
            return ["Which attribute is asked about?", *_no_limit(question)]
        if self.protocol:
            return _no_limit(question)
        now = {known: self.setting(question.settings, known.key) for known in self.settings}
        return [
            f"{known.label}?"
            for known, value in now.items()
            if known.needed and (value is None or not str(value).strip())
        ]

    def check(self, settings: Mapping[str, Any]) -> None:
        """Refuse settings that cannot be used.

        Raises
        ------
        ArgumentError
            For an unknown setting, or a number that is none or out of its bounds.
        """
        known = {setting.key: setting for setting in self.settings}
        for key, value in settings.items():
            if key in self.former:
                continue
            if key not in known:
                raise ArgumentError(
                    f"{self.name} has no setting {key!r}: {', '.join(known) or 'there is none'}."
                )
            if known[key].kind != "text":
                known[key].check(value)
                continue
            check_list(key, self.listed(settings, key))
            if key == "margins":
                self.margins(settings)
        self._check_together(settings)
        self.fits(settings)

    def _check_together(self, settings: Mapping[str, Any]) -> None:
        """Scale, margins, limit and names have to fit each other."""
        if not self.has_setting("scale_high"):
            return
        scale = agreed_scale(settings)
        low, high = scale.low, scale.high
        if not low < high:
            raise ArgumentError(f"the scale must go upwards; got {low:g} to {high:g}.")
        widths = list(self.margins(settings).values())
        limit = self.setting(settings, "limit") if self.has_setting("limit") else None
        widths += [] if limit is None else [float(limit)]
        if widths and max(widths) >= high - low:
            raise ArgumentError(
                f"a margin or limit of {max(widths):g} is as wide as the scale of {low:g} to "
                f"{high:g}: every batch would pass."
            )
        planned = [name.casefold() for name in self.listed(settings, "samples")]
        for key in ("reference", "control"):
            name = str(self.setting(settings, key) or "").strip()
            if name and self.has_setting(key) and planned and name.casefold() not in planned:
                raise ArgumentError(f"{key} {name!r} is none of the samples in the plan.")

    def margins(self, settings: Mapping[str, Any]) -> dict[str, float]:
        """Margins by attribute from a setting such as 'sweet 1; sour 0,8', or one for all.

        A mapping of attribute to number is taken as it is.

        Raises
        ------
        ArgumentError
            For a part that is no attribute with a positive number.

        >>> from sensory.catalogue.tests import find_kind
        >>> agreed = {"attributes": "sweet; after taste", "margins": "after taste 0,8"}
        >>> find_kind("profile").margins(agreed)
        {'after taste': 0.8}
        """
        given = self.setting(settings, "margins") if self.has_setting("margins") else ""
        return typed_margins(given, self.listed(settings, "attributes"))

    def __repr__(self) -> str:
        return self.key


def _no_limit(question: Question) -> list[str]:
    return [] if question.pd_limit is not None else ["Agreed limit: which share may notice?"]


_KINDS: dict[str, TestKind] = {}
KINDS: Mapping[str, TestKind] = MappingProxyType(_KINDS)
"""Every registered test by its key."""


def register(kind: TestKind) -> ExitStack:
    """Add a test to the house; leaving the returned context takes it out again.

    Raises ArgumentError when its key or name is taken, or it does not say in English what it asks.
    """
    if any(name_of(text) in (name_of(kind.key), name_of(kind.name)) for text in _names()):
        raise ArgumentError(f"there is a test {kind.key} or {kind.name} already.")
    if "en" not in kind.words:
        raise ArgumentError(f"words of {kind.key} must have the English ones, under 'en'.")
    _KINDS[kind.key] = kind
    undo = ExitStack()
    undo.callback(_KINDS.pop, kind.key, None)
    return undo


def name_of(text: str) -> str:
    """A name as it is compared, however it is spaced or capitalised.

    >>> name_of("Duo-Trio")
    'duotrio'
    """
    return "".join(letter for letter in text.casefold() if letter.isalnum())


def _names() -> list[str]:
    return [text for kind in _KINDS.values() for text in (kind.key, kind.name)]
