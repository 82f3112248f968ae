"""Numbers as people read them; rounding happens here and nowhere below."""

from __future__ import annotations

from collections.abc import Sequence

from ..base.results import cell_text

_HEADINGS = {
    "p_adjusted": "p (Dunnett)",
    "p_holm": "p (Holm)",
    "p_false_discovery": "p (false discovery rate)",
    "interaction_p": "p (interaction)",
    "se": "standard error",
    "sd": "standard deviation",
    "df": "degrees of freedom",
    "df_error": "degrees of freedom, error",
    "ms": "mean square",
    "statistic": "test statistic",
    "low": "lower limit",
    "high": "upper limit",
    "least_dunnett": "least significant difference from the reference",
    "least_tukey": "least significant difference of any two",
    "smallest_difference": "smallest difference the panel could see",
    "kendall_w": "Kendall's W",
    "icc": "intraclass correlation",
    "sd_ratio": "standard deviation, own / panel",
    "r": "agreement (r)",
    "slope": "use of the scale (slope)",
    "bias": "level against the panel",
    "apart": "samples told apart",
    "interaction_share": "share of the disagreement",
    "effect": "in standard deviations of repeats",
    "equivalent": "within the margin",
}
"""Names of columns in the library, and what people read."""


def column_heading(name: str) -> str:
    """The head of a column as people read it.

    >>> column_heading("p_holm"), column_heading("attribute")
    ('p (Holm)', 'attribute')
    """
    return _HEADINGS.get(name, name)


def percent(share: float, digits: int = 0) -> str:
    """A share in per cent.

    >>> percent(0.3333), percent(0.0493, 1)
    ('33 %', '4.9 %')
    """
    return f"{100 * share:.{digits}f} %"


def number(value: float | str | None) -> str:
    """A number as people read it: whole numbers whole, others with four digits; text as it is.

    >>> number(24), number(1.63831), number(float("inf")), number(1.306e-19), number(None)
    ('24', '1.638', 'infinite', '0', '')
    """
    return cell_text(value)


def listed(names: Sequence[str], most: int = 6) -> str:
    """Names in a row, and how many more there are.

    >>> listed(["a", "b", "c"], most=2)
    'a, b and 1 more'
    """
    if len(names) <= most:
        return ", ".join(names)
    return f"{', '.join(names[:most])} and {len(names) - most} more"


def clipped(text: str, letters: int) -> str:
    """A text of so many letters at the most.

    >>> clipped("too sweet", 20), clipped("too sweet", 5)
    ('too sweet', 'too …')
    """
    return text if len(text) <= letters else f"{text[: letters - 1]}…"
