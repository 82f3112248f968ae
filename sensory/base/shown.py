"""What every result can show of itself: a picture and a table, made when they are asked for.

Why so
------
Charts and data frames are made in `report`, seven floors up. A result names that room only when
`plot` or `table` is called, so that statistics load neither charts nor pandas, and that no room
imports upwards. This file and the public face are the only ones that load by name.
"""

from __future__ import annotations

import json
from abc import ABC, abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

from .results import Table, digits

if TYPE_CHECKING:
    import pandas as pd

_DRAWS = "sensory.report.plots"
_MOST, _LETTERS = 6, 40
"""Values in a short form of a result, and letters of each."""
_VEGA_LITE = "application/vnd.vegalite.v6+json"


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A chart of a result, as `plot` gives it.

    Attributes
    ----------
    title : str
        What it shows.
    text : str
        The chart in the grammar Vega-Lite, version 6, as JSON.

    Examples
    --------
    >>> from sensory import choice_test
    >>> picture = choice_test("triangle", 18, 24).plot()
    >>> picture
    <Picture: limits>
    >>> picture.spec["$schema"]
    'https://vega.github.io/schema/vega-lite/v6.json'
    """

    title: str
    text: str

    @property
    def spec(self) -> dict[str, Any]:
        """The chart as plain data, a new copy each time."""
        return dict(json.loads(self.text))

    def svg(self) -> str:
        """The chart as SVG, with text as text.

        Raises ArgumentError where the drawing program is not installed.
        """
        return str(import_module(_DRAWS).svg_of(self.spec))

    def png(self) -> bytes:
        """The chart as PNG at the size of a slide: 1920 pixels wide, or 1080 high.

        Raises ArgumentError where the drawing program is not installed.
        """
        return bytes(import_module(_DRAWS).png_of(self.spec))

    def save(self, path: str | Path) -> Path:
        """Write the chart as SVG, PNG or JSON, by the ending of the file's name.

        Raises ArgumentError for another ending.
        """
        return Path(import_module(_DRAWS).save(self, path))

    def __repr__(self) -> str:
        return f"<Picture: {self.title}>"

    def _repr_html_(self) -> str:
        return self.svg()

    def _repr_mimebundle_(
        self, include: object = None, exclude: object = None
    ) -> Mapping[str, object]:
        """For notebooks: the chart for those that draw it, SVG and text for the others."""
        return {_VEGA_LITE: self.spec, "image/svg+xml": self.svg(), "text/plain": repr(self)}


class Shown:
    """A result with pictures and a table."""

    __slots__ = ()

    def __repr__(self) -> str:
        """In short: the first plain values; the whole is in the attributes."""
        values = ((name, getattr(self, name)) for name in _names(self))
        plain = [f"{name} {_in_short(value)}" for name, value in values if _is_plain(value)]
        return f"<{type(self).__name__}: {', '.join(plain[:_MOST])}>"

    def plot(self, kind: str | None = None) -> Picture:
        """The result as a picture.

        Parameters
        ----------
        kind : str, optional
            Which of `pictures`; the first if not given.

        Raises
        ------
        ArgumentError
            For a picture that this result does not have, and where a result of several sessions
            has no picture of one.
        """
        picture: Picture = import_module(_DRAWS).plot_of(self, kind)
        return picture

    @property
    def pictures(self) -> tuple[str, ...]:
        """The pictures that `plot` draws of this result, the first by default."""
        return tuple(import_module(_DRAWS).pictures_of(self))

    def table(self) -> pd.DataFrame:
        """The result as a tidy table, numbers unrounded.

        Columns have one spelling everywhere: ``estimate se df statistic p p_adjusted low high
        level attribute sample assessor``.
        """
        frame: pd.DataFrame = import_module(_DRAWS).table_of(self)
        return frame


class Told(Shown, ABC):
    """A result that says in sentences what it shows, and what it cannot tell."""

    __slots__ = ()

    @abstractmethod
    def says(self) -> tuple[str, ...]:
        """What it shows, a sentence each."""

    @property
    @abstractmethod
    def cannot_tell(self) -> tuple[str, ...]:
        """What it does not answer, a sentence each."""

    @abstractmethod
    def summary(self) -> Table:
        """The numbers in short."""

    def _repr_html_(self) -> str:
        sentences = "".join(f"<p>{line}</p>" for line in (*self.says(), *self.cannot_tell))
        return f"{self.summary()._repr_html_()}{sentences}"


def _names(result: object) -> list[str]:
    public = fields(result) if is_dataclass(result) else ()
    return [field.name for field in public if not field.name.startswith("_")]


def _is_plain(value: object) -> bool:
    return isinstance(value, (str, bool, int, float)) and len(str(value)) <= _LETTERS


def _in_short(value: object) -> str:
    return digits(value) if isinstance(value, float) else str(value)
