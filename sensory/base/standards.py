"""Standards and their editions: data with the date of the last look, never text in code.

An edition ages. Reports stamp the edition known on the day of the test; whoever looks
the editions up again changes this table and its date.
"""

from __future__ import annotations

from dataclasses import dataclass

CHECKED = "2026-11"


@dataclass(frozen=True, slots=True, kw_only=True)
class Standard:
    """A published standard.

    Attributes
    ----------
    number, edition : str
        For example ``ISO 4120`` and ``2021``.
    checked : str
        Year and month in which the edition was last looked up.
    """

    number: str
    edition: str
    subject: str
    checked: str = CHECKED

    def __str__(self) -> str:
        return f"{self.number}{'-' if self.number.startswith('ASTM') else ':'}{self.edition}"


def _standard(number: str, edition: str, subject: str) -> Standard:
    return Standard(number=number, edition=edition, subject=subject)


# Editions from the catalogues of the standards bodies; a scope was read, never the
# whole text of a standard.
STANDARDS = {
    entry.number: entry
    for entry in (
        _standard("ISO 4120", "2021", "triangle test"),
        _standard("ISO 10399", "2026", "duo-trio test"),
        _standard("ISO 5495", "2005", "paired comparison test"),
        _standard("ISO 8588", "2017", "A - not A test"),
        _standard("ISO 8587", "2006", "ranking"),
        _standard("ISO 16820", "2019", "sequential analysis"),
        _standard("ISO 11132", "2021", "performance of a quantitative descriptive panel"),
        _standard("ISO 8586", "2023", "selection and training of assessors"),
        _standard("ISO 4121", "2003", "quantitative response scales"),
        _standard("ISO 13299", "2016", "sensory profile"),
        _standard("ISO 13301", "2018", "thresholds by three-alternative forced choice"),
        _standard("ISO 29842", "2024", "balanced incomplete block designs"),
        _standard("ISO 20613", "2019", "sensory analysis in quality control"),
        _standard("ISO 6658", "2017", "general guidance on methods"),
        _standard("ISO 5492", "2008", "vocabulary"),
        _standard("ASTM E1885", "18", "triangle test"),
        _standard("ASTM E2610", "18", "duo-trio test"),
        _standard("ASTM E2164", "24b", "directional difference test"),
    )
}
