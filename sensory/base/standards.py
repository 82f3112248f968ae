"""Standards and their editions: data with the date of the last look, never text in code.

An edition ages. Reports stamp the edition known on the day of the test; whoever looks
the editions up again changes this table and its date.

Why so
------
A test is done *after* a standard: its number, edition and scope were looked up in catalogues, its
text was bought and compared by nobody. So whatever names a standard says 'after', the line on
record says that the text was not checked, and nothing claims conformity.
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
        For example ``ISO 4120`` and ``2021``; no edition where none was looked up.
    subject : str
    amendments : tuple of str
        Amendments and corrigenda that were looked up.
    recalled : tuple of str
        Amendments known from memory only.
    doubt : str
        What the look left open.
    checked : str
        Year and month in which the edition was last looked up.
    similarity : bool
        False where its scope excludes a finding of similarity.

    Examples
    --------
    >>> str(STANDARDS["ISO 4120"]), STANDARDS["ISO 5495"].name
    ('after ISO 4120:2021', 'ISO 5495:2005 + Cor 1:2006')
    >>> print(STANDARDS["ISO 4120"].cited.replace("; ", ";" + chr(10)))
    after ISO 4120:2021 (edition looked up 2026-11;
    the text was not checked;
    no conformity is claimed)
    """

    number: str
    edition: str
    subject: str
    amendments: tuple[str, ...] = ()
    recalled: tuple[str, ...] = ()
    doubt: str = ""
    checked: str = CHECKED
    similarity: bool = True

    @property
    def name(self) -> str:
        """Number with its edition and amendments, as in a list of references."""
        if not self.edition:
            return self.number
        between = "-" if self.number.startswith("ASTM") else ":"
        return " + ".join((f"{self.number}{between}{self.edition}", *self.amendments))

    @property
    def cited(self) -> str:
        """The line on record: what was looked up, and what was not."""
        edition = f"edition looked up {self.checked}" if self.edition else "edition not looked up"
        recalled = tuple(f"{amendment} from memory" for amendment in self.recalled)
        unread = ("the text was not checked", "no conformity is claimed")
        parts = (edition, *recalled, *((self.doubt,) if self.doubt else ()), *unread)
        return f"{self} ({'; '.join(parts)})"

    def __str__(self) -> str:
        return f"after {self.name}"


def _standard(
    number: str,
    edition: str,
    subject: str,
    *,
    amended: tuple[str, ...] = (),
    recalled: tuple[str, ...] = (),
    doubt: str = "",
    similarity: bool = True,
) -> Standard:
    return Standard(
        number=number,
        edition=edition,
        subject=subject,
        amendments=amended,
        recalled=recalled,
        doubt=doubt,
        similarity=similarity,
    )


# Editions from the catalogues of the standards bodies; a scope was read, never the
# whole text of a standard.
STANDARDS = {
    standard.number: standard
    for standard in (
        _standard("ISO 4120", "2021", "triangle test"),
        _standard("ISO 10399", "2026", "duo-trio test"),
        _standard(
            "ISO 5495",
            "2005",
            "paired comparison test",
            amended=("Cor 1:2006",),
            recalled=("Amd 1:2016",),
            doubt="one catalogue says replaced, no successor was found",
        ),
        _standard("ISO 8588", "2017", "A - not A test", similarity=False),
        _standard("ISO 8587", "2006", "ranking", recalled=("Amd 1:2013",)),
        _standard("ISO 16820", "2019", "sequential analysis"),
        _standard("ISO 11132", "2021", "performance of a quantitative descriptive panel"),
        _standard("ISO 8586", "2023", "selection and training of assessors"),
        _standard("ISO 4121", "2003", "quantitative response scales"),
        _standard("ISO 13299", "2016", "sensory profile"),
        _standard("ISO 13301", "2018", "thresholds by three-alternative forced choice"),
        _standard("ISO 29842", "2024", "balanced incomplete block designs"),
        _standard("ISO 20613", "2019", "sensory analysis in quality control"),
        _standard("ISO 6658", "2017", "general guidance on methods"),
        _standard("ISO 5492", "2008", "vocabulary", amended=("Amd 1:2016",)),
        _standard("ISO 16779", "2015", "shelf life"),
        _standard("ISO 5725-2", "2019", "repeatability and reproducibility"),
        _standard("ISO 7870-2", "", "Shewhart control charts"),
        _standard("ISO 7870-6", "", "EWMA control charts"),
        _standard("ISO 8258", "", "Shewhart control charts, before ISO 7870-2"),
        _standard("DIN 10976", "2016", "difference from control"),
        _standard("ASTM E1885", "18", "triangle test", doubt="a later edition was not found"),
        _standard("ASTM E2610", "18", "duo-trio test"),
        _standard("ASTM E2164", "24b", "directional difference test"),
        _standard(
            "ASTM E2139",
            "05(2011)",
            "same-different test",
            doubt="a later reapproval is not ruled out",
        ),
        _standard("ASTM E2262", "", "d-prime"),
    )
}
