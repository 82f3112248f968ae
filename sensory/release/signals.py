"""Signals of a trend that somebody acknowledged, with cause and name."""

from __future__ import annotations

from dataclasses import dataclass

from ..base.plain import Plain
from ..base.record_checks import iso_date, named


@dataclass(frozen=True, slots=True, kw_only=True)
class Acknowledged(Plain):
    """A signal of one batch that is explained, so that it leaves the lists.

    Attributes
    ----------
    batch, attribute : str
        The attribute is empty where the test scores none.
    words : str
        What the chart said then; another signal of this batch is open again.
    cause, by, on : str
        What explains it, who says so, and the day, ISO 8601.
    """

    batch: str
    attribute: str
    words: str
    cause: str
    by: str
    on: str

    def __post_init__(self) -> None:
        for name in ("batch", "words", "cause", "by"):
            named(name, getattr(self, name))
        iso_date("on", self.on)
