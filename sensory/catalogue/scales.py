"""How intensities are answered: on a line, or in categories; agreed with the question.

ISO 4121 (quantitative response scales; recalled, not read anew) has both kinds.

Why so
------
Categories are a scale, not a method. Settings of the response scale are kept only where they
differ from a line, so that older questions keep their digest; `scales.agreed_scale` is the one
place that knows ends and categories. Categories are whole numbers one point apart, and a finding
says that their steps are taken as equal.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from ..base.errors import ArgumentError
from ..base.standards import STANDARDS

LINE, CATEGORIES = "line", "categories"
MOST_CATEGORIES = 16


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """One thing that is agreed before tasting, besides alpha and beta.

    `low`, `high`: bounds of a number.
    `whole`: whether a number has to be a whole one.
    `choices`: what a choice may be.
    `default`: None where it has to be agreed: a limit that nobody stated is nobody's agreement.
    `needed`: whether an empty one keeps the question from being agreed.
    `optional`: whether it is kept only where it differs from its default, as in older records.
    `scale`: kind of scale to which it belongs, if to one only.
    `assumed`: whether it is a number that planning supposes, and no finding uses.
    """

    key: str
    label: str
    kind: Literal["number", "text", "choice"] = "text"
    default: float | str | None = ""
    low: float = 0.0
    high: float = 1000.0
    whole: bool = False
    choices: tuple[str, ...] = ()
    needed: bool = False
    optional: bool = False
    scale: str | None = None
    assumed: bool = False

    def check(self, value: Any) -> None:
        """Refuse a number or a choice that cannot be.

        Raises ArgumentError: Which values are possible.
        """
        if self.kind == "choice":
            if value not in self.choices:
                allowed = " or ".join(map(repr, self.choices))
                raise ArgumentError(f"{self.label} must be {allowed}; got {value!r}.")
            return
        number = isinstance(value, (int, float)) and not isinstance(value, bool)
        if not (number and self.low <= value <= self.high):
            raise ArgumentError(
                f"{self.label} must be a number from {self.low:g} to {self.high:g}; got {value!r}."
            )
        if self.whole and value != int(value):
            raise ArgumentError(f"{self.label} must be a whole number; got {value!r}.")


DPRIME_LIMIT = Setting(
    key="dprime_limit",
    label="Agreed limit: d-prime",
    kind="number",
    default=None,
    needed=True,
    low=0.05,
    high=5,
)
_KIND = Setting(
    key="scale",
    label="Response scale",
    kind="choice",
    default=LINE,
    choices=(LINE, CATEGORIES),
    optional=True,
)
_LOW = Setting(
    key="scale_low", label="Lowest score of the scale", kind="number", default=0.0, low=-1000.0
)
_HIGH = Setting(
    key="scale_high", label="Highest score of the scale", kind="number", default=10.0, scale=LINE
)
_CATEGORIES = Setting(
    key="categories",
    label="Number of categories, one point apart",
    kind="number",
    default=10.0,
    low=2.0,
    high=float(MOST_CATEGORIES),
    whole=True,
    optional=True,
    scale=CATEGORIES,
)
_ENDS = tuple(
    Setting(
        key=f"{end}_word",
        label=f"Word at the {end} end of the scale (empty: the usual one)",
        optional=True,
    )
    for end in ("low", "high")
)
FROM_ZERO = (_KIND, _HIGH, _CATEGORIES, *_ENDS)
"""Settings of a scale whose lowest score is 0."""
FREE = (_KIND, _LOW, _HIGH, _CATEGORIES, *_ENDS)
"""Settings of a scale with any ends."""
_DEFAULTS = {setting.key: setting.default for setting in FREE}


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """The scale of a session.

    `low`, `high`: lowest and highest score.
    `categories`: the possible scores, lowest first; empty on a line.
    `low_word`, `high_word`: words at the ends; empty for those of the language.
    """

    low: float
    high: float
    categories: tuple[float, ...]
    low_word: str
    high_word: str

    def ends(self, name: str, words: Mapping[str, Any]) -> tuple[str, str]:
        """Words at the ends of the scale of an attribute, or of a difference without a name."""
        kind = "scale" if name else "far"
        return self.low_word or words[f"{kind}_low"], self.high_word or words[f"{kind}_high"]


def agreed_scale(settings: Mapping[str, Any]) -> Scale:
    """The scale that settings agree on.

    Categories are whole numbers one point apart, from the lowest score upwards. A question
    that says nothing of it has a line, from 0 to 10 unless other ends are agreed.

    Raises ArgumentError for a highest score that is not that of the last category, or a lowest one
    that is no whole number.

    >>> agreed_scale({"scale": "categories", "categories": 10}).high
    9.0
    >>> agreed_scale({"scale_high": 15}).categories
    ()
    """
    agreed = {key: settings.get(key, default) for key, default in _DEFAULTS.items()}
    words = {key: str(agreed[key]).strip() for key in ("low_word", "high_word")}
    low, high = float(agreed["scale_low"]), float(agreed["scale_high"])
    if agreed["scale"] != CATEGORIES:
        return Scale(low=low, high=high, categories=(), **words)
    if low != int(low):
        raise ArgumentError(f"categories begin at a whole number; the lowest score is {low:g}.")
    number = int(agreed["categories"])
    last = low + number - 1
    if "scale_high" in settings and high != last:
        raise ArgumentError(
            f"{number} categories from {low:g} end at {last:g}; the highest score is {high:g}. "
            "Leave it out."
        )
    categories = tuple(low + step for step in range(number))
    return Scale(low=low, high=last, categories=categories, **words)


def equal_steps(settings: Mapping[str, Any]) -> tuple[str, ...]:
    """What a finding has to say of scores in categories; nothing where a line was marked."""
    categories = agreed_scale(settings).categories
    if not categories:
        return ()
    return (
        f"Scores are {len(categories)} categories from {categories[0]:g} to {categories[-1]:g}, "
        "taken as numbers of equal steps: a step is supposed to mean the same everywhere on the "
        f"scale, which the scores themselves cannot show ({STANDARDS['ISO 4121'].name}, "
        "quantitative response scales, by its scope; recalled).",
    )
