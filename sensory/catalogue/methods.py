"""Methods other than a forced choice: one frozen entry each, as `protocols` for choices.

What a ballot of each method holds stands in `ballots.method_columns`, what its answers
say in `decisions.readings`; both are keyed by `Method.key`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from ..base.errors import ArgumentError
from ..base.standards import STANDARDS
from ..choices.protocols import PROTOCOLS, Protocol
from .question import Question
from .scales import FREE, FROM_ZERO, Setting, agreed_scale

_AT_LEAST_TWO = ("grades",)


@dataclass(frozen=True, slots=True, kw_only=True)
class Method:
    """A test that is no forced choice.

    Attributes
    ----------
    key, name : str
    standard : str
        With its edition; '(edition not looked up)' where only the number is known.
    asks : str
        What the ballot asks.
    letters : str
        How the samples are named on a ballot.
    settings : tuple of Setting
    similarity : bool
        Whether its answers can show similarity at all.
    answer : {'choice', 'grade', 'place', 'score', 'scores'}
        What a ballot takes: one of `choices`, an agreed grade, a place for each sample, a
        score, or a score for each agreed attribute.
    choices : tuple of str
    by_name : bool
        Whether samples have names of their own, instead of the letters A and B.
    """

    key: str
    name: str
    standard: str
    asks: str
    letters: str
    settings: tuple[Setting, ...] = ()
    similarity: bool = True
    answer: Literal["choice", "grade", "place", "score", "scores"] = "choice"
    choices: tuple[str, ...] = ()
    by_name: bool = True

    @property
    def together(self) -> bool:
        """Whether all samples of an assessor stand on one ballot."""
        return self.answer == "place"

    def scored(self, settings: Mapping[str, Any]) -> list[str]:
        """What is marked on a line: the agreed attributes, one line without a name, or nothing.

        >>> PROFILE.scored({"attributes": "sweet; sour"}), RANKING.scored({})
        (['sweet', 'sour'], [])
        """
        if self.answer == "scores":
            return self.listed(settings, "attributes")
        return [""] if self.answer == "score" else []

    def offered(self, settings: Mapping[str, Any]) -> list[str]:
        """Words that an answer is chosen from: the choices, or the agreed grades."""
        return self.listed(settings, "grades") if self.answer == "grade" else list(self.choices)

    def setting(self, settings: Mapping[str, Any], key: str) -> Any:
        """An agreed setting, or its default."""
        default = next((one.default for one in self.settings if one.key == key), 0.0)
        return settings.get(key, default)

    def offered_settings(self, settings: Mapping[str, Any]) -> tuple[Setting, ...]:
        """The settings that mean something beside the others.

        >>> "categories" in [one.key for one in PROFILE.offered_settings({})]
        False
        """
        scale = self.setting(settings, "scale")
        return tuple(one for one in self.settings if one.scale in (None, scale))

    def agreed_settings(self, settings: Mapping[str, Any]) -> list[tuple[str, Any]]:
        """Labels and values of what was agreed, defaults included; for pages and reports."""
        return [
            (one.label, in_words(now) if one.kind == "text" else now)
            for one in self.offered_settings(settings)
            for now in (self.setting(settings, one.key),)
            if not one.optional or one.key in settings
        ]

    def listed(self, settings: Mapping[str, Any], key: str) -> list[str]:
        """An agreed setting that holds several words, separated by semicolons.

        >>> SURENESS.listed({"grades": "same; unsure ;different"}, "grades")
        ['same', 'unsure', 'different']
        """
        parts = in_words(self.setting(settings, key)).split(";")
        return [" ".join(part.split()) for part in parts if part.strip()]

    def missing(self, settings: Mapping[str, Any]) -> list[str]:
        """What has to be stated before a question with this method can be agreed."""
        return [
            f"{one.label}?"
            for one in self.settings
            if one.needed and not str(self.setting(settings, one.key)).strip()
        ]

    def check(self, settings: Mapping[str, Any]) -> None:
        """Refuse settings that cannot be used.

        Raises
        ------
        ArgumentError
            For an unknown setting, or a number that is none or out of its bounds.
        """
        known = {one.key: one for one in self.settings}
        for key, value in settings.items():
            if key not in known:
                raise ArgumentError(f"{self.name} has no setting {key!r}: {', '.join(known)}.")
            if known[key].kind != "text":
                known[key].check(value)
                continue
            self._check_list(key, settings)
            if key == "margins":
                self.margins(settings)
        self._check_together(settings)

    def _check_together(self, settings: Mapping[str, Any]) -> None:
        """Scale, margins, limit and names have to fit each other."""
        known = {one.key for one in self.settings}
        if "scale_high" not in known:
            return
        scale = agreed_scale(settings)
        low, high = scale.low, scale.high
        if not low < high:
            raise ArgumentError(f"the scale must go upwards; got {low:g} to {high:g}.")
        widths = list(self.margins(settings).values()) if "margins" in known else []
        widths += [float(self.setting(settings, "limit"))] if "limit" in known else []
        if widths and max(widths) >= high - low:
            raise ArgumentError(
                f"a margin or limit of {max(widths):g} is as wide as the scale of {low:g} to "
                f"{high:g}: every batch would pass."
            )
        planned = [name.casefold() for name in self.listed(settings, "samples")]
        for key in ("reference", "control"):
            name = str(self.setting(settings, key) or "").strip()
            if key in known and planned and name.casefold() not in planned:
                raise ArgumentError(f"{key} {name!r} is none of the samples in the plan.")

    def margins(self, settings: Mapping[str, Any]) -> dict[str, float]:
        """Margins by attribute from a setting such as 'sweet 1; sour 0,8', or one for all.

        Raises
        ------
        ArgumentError
            For a part that is no attribute with a positive number.

        A mapping of attribute to number is taken as it is.

        >>> PROFILE.margins({"attributes": "sweet; after taste", "margins": "after taste 0,8"})
        {'after taste': 0.8}
        """
        attributes = {name.casefold(): name for name in self.listed(settings, "attributes")}
        given = self.setting(settings, "margins")
        typed = map(_name_and_size, str(given).split(";"))
        parts = given.items() if isinstance(given, Mapping) else typed
        margins: dict[str, float] = {}
        for name, size in parts:
            if not name and size is None:
                continue
            known = attributes.get(name.casefold())
            if size is None or not 0 < size < 1e6 or (name and known is None):
                part = name if size is None else f"{name} {size:g}".strip()
                raise ArgumentError(
                    f"margin {part!r} must be one of the attributes and a number above 0, "
                    f"or one number for all; attributes are {', '.join(attributes.values())}."
                )
            margins |= {known: size} if known else dict.fromkeys(attributes.values(), size)
        return margins

    def _check_list(self, key: str, settings: Mapping[str, Any]) -> None:
        parts = self.listed(settings, key)
        seen: set[str] = set()
        for part in parts:
            if part.casefold() in seen:
                raise ArgumentError(f"{key.rstrip('s')} {part!r} stands twice.")
            seen.add(part.casefold())
        if key in _AT_LEAST_TWO and len(parts) < 2:
            raise ArgumentError(f"at least two {key} are needed, separated by semicolons.")


def in_words(value: Any) -> str:
    """An agreed text, or numbers by attribute, as it is typed.

    >>> in_words({"sweet": 1.2345678, "sour": 1.0})
    'sweet 1.2345678; sour 1.0'
    """
    if isinstance(value, Mapping):
        return "; ".join(f"{name} {size}" for name, size in value.items())
    return str(value)


def _name_and_size(part: str) -> tuple[str, float | None]:
    """A margin as typed; None where it ends in no number."""
    whole = " ".join(part.split())
    name, _, size = whole.rpartition(" ")
    try:
        return name.rstrip(":= "), float(size.replace(",", "."))
    except ValueError:
        return whole, None


_DPRIME_LIMIT = Setting(
    key="dprime_limit", label="Agreed limit: d-prime", kind="number", default=1.0, low=0.05, high=5
)
_LETTERS = "A is the reference, B the sample compared."

A_NOT_A = Method(
    key="A_NOT_A",
    choices=("A", "not A"),
    by_name=False,
    name="A - not A",
    standard=str(STANDARDS["ISO 8588"]),
    asks="Is this sample A, the reference that you know, or is it not A?",
    letters=_LETTERS,
    similarity=False,
)
SAME_DIFFERENT = Method(
    key="SAME_DIFFERENT",
    choices=("same", "different"),
    by_name=False,
    name="same-different",
    standard="ASTM E2139 (edition not looked up)",
    asks="Are the two samples of this pair the same, or different?",
    letters="A pair is AA, BB (same) or AB, BA (different), first served first.",
    settings=(_DPRIME_LIMIT,),
)
SURENESS = Method(
    key="SURENESS",
    answer="grade",
    name="A - not A with sureness",
    standard=f"after {STANDARDS['ISO 8588']}",
    asks="Is this sample the reference that you know, and how sure are you?",
    letters="A is the reference; any other name is a product compared with it.",
    settings=(
        Setting(
            key="grades",
            label="Grades, from the reference's end, separated by semicolons",
            kind="text",
            default="surely A; perhaps A; perhaps not A; surely not A",
            needed=True,
        ),
        _DPRIME_LIMIT,
    ),
)
RANKING = Method(
    key="RANKING",
    answer="place",
    name="ranking",
    standard=str(STANDARDS["ISO 8587"]),
    asks="Put the samples in order, 1 for the least of the attribute.",
    letters="Samples by name; tied samples share the mean of their ranks, such as 2.5. Somebody "
    "who did not rank every sample: take out all rows of that person.",
    settings=(
        Setting(
            key="attribute", label="Attribute asked about", kind="text", default="", needed=True
        ),
        Setting(
            key="expected",
            kind="text",
            default="",
            label="Expected order, lowest first, separated by semicolons (if any)",
        ),
        Setting(
            key="reference",
            kind="text",
            default="",
            label="Reference, if the others are compared with it only",
        ),
    ),
    similarity=False,
)
PROFILE = Method(
    key="PROFILE",
    answer="scores",
    name="profile",
    standard=str(STANDARDS["ISO 13299"]),
    asks="How strong is each attribute in this sample?",
    letters="One row a sample served, one column an attribute.",
    settings=(
        Setting(
            key="attributes",
            kind="text",
            default="",
            label="Attributes, separated by semicolons",
            needed=True,
        ),
        Setting(
            key="reference",
            kind="text",
            default="reference",
            label="Name of the reference among the samples",
            needed=True,
        ),
        Setting(
            key="margins",
            kind="text",
            default="",
            label="Margins: one number for all, or 'sweet 1; sour 0.8' (empty: none)",
        ),
        Setting(
            key="samples",
            kind="text",
            default="",
            label="Samples in the plan, separated by semicolons (empty: any)",
        ),
        *FREE,
    ),
)
DIFFERENCE_FROM_CONTROL = Method(
    key="DIFFERENCE_FROM_CONTROL",
    answer="score",
    name="difference from control",
    standard="DIN 10976:2016",
    asks="How far is this sample from the labelled reference?",
    letters="Coded samples by name; the blind reference is one of them. 0 is no difference.",
    settings=(
        Setting(
            key="control",
            kind="text",
            default="blind reference",
            needed=True,
            label="Name of the blind reference among the samples",
        ),
        Setting(
            key="limit",
            kind="number",
            default=1.5,
            low=0.01,
            label="Action limit: difference from the blind reference",
        ),
        Setting(
            key="samples",
            kind="text",
            default="",
            label="Samples in the plan, separated by semicolons (empty: any)",
        ),
        *FROM_ZERO,
    ),
)
METHODS = {
    one.key: one
    for one in (A_NOT_A, SAME_DIFFERENT, SURENESS, RANKING, PROFILE, DIFFERENCE_FROM_CONTROL)
}


def find_test(key: str) -> Protocol | Method:
    """The forced-choice protocol or the method with this key.

    Raises
    ------
    ArgumentError
        When there is none.

    Examples
    --------
    >>> find_test("TRIANGLE").name, find_test("A_NOT_A").name
    ('triangle', 'A - not A')
    """
    found = PROTOCOLS.get(key) or METHODS.get(key)
    if found is None:
        raise ArgumentError(f"test {key!r} is not known; possible are {', '.join(_keys())}.")
    return found


def find_method(key: str) -> Method | None:
    """The method with this key, or None where the key is that of a forced choice."""
    found = find_test(key)
    return found if isinstance(found, Method) else None


def asked_in(words: Mapping[str, Any], question: Question) -> str:
    """What the ballot asks, in the words of a language."""
    attribute = question.attribute or str(question.settings.get("attribute", ""))
    key = question.protocol
    asks: str = words["asks"][key]
    if agreed_scale(question.settings).categories:
        asks = words["asks_categories"].get(key, asks)
    return asks.format(attribute=attribute)


def attributes_of(question: Question) -> tuple[str, ...]:
    """The attributes that a profile agreed; none for any other test."""
    method = find_method(question.protocol)
    if method is None or not any(one.key == "attributes" for one in method.settings):
        return ()
    return tuple(method.listed(question.settings, "attributes"))


def _keys() -> list[str]:
    return [*PROTOCOLS, *METHODS]
