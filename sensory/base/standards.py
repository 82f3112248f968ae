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


# Editions from the catalogues of the standards bodies; a scope was read, never the
# whole text of a standard.
STANDARDS = {
    number: Standard(number=number, edition=edition, subject=subject)
    for number, edition, subject in (
        ("ISO 4120", "2021", "triangle test"),
        ("ISO 10399", "2026", "duo-trio test"),
        ("ISO 5495", "2005", "paired comparison test"),
        ("ISO 8588", "2017", "A - not A test"),
        ("ISO 8587", "2006", "ranking"),
        ("ISO 16820", "2019", "sequential analysis"),
        ("ISO 11132", "2021", "performance of a quantitative descriptive panel"),
        ("ISO 8586", "2023", "selection and training of assessors"),
        ("ISO 4121", "2003", "quantitative response scales"),
        ("ISO 13299", "2016", "sensory profile"),
        ("ISO 13301", "2018", "thresholds by three-alternative forced choice"),
        ("ISO 29842", "2024", "balanced incomplete block designs"),
        ("ISO 20613", "2019", "sensory analysis in quality control"),
        ("ISO 6658", "2017", "general guidance on methods"),
        ("ISO 5492", "2008", "vocabulary"),
        ("ASTM E1885", "18", "triangle test"),
        ("ASTM E2610", "18", "duo-trio test"),
        ("ASTM E2164", "24b", "directional difference test"),
    )
}
