"""What each column of a file holds, guessed from its heading in four languages and its cells.

Why so
------
A guess is shown and can be changed; it is never used unseen. A column of numbers under a heading
that nobody knows is an attribute, anything else that nobody knows is left out and reported.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from enum import StrEnum

from ..base.spelling import looks_like
from ..catalogue.columns import BallotColumns
from ..catalogue.tests import kinds
from .sheets import HEADER_WITHIN, Line

_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)", flags=re.ASCII)


class Role(StrEnum):
    """What a column is for; the value is its name on screen and in Python."""

    ASSESSOR = "assessor"
    SAMPLE = "sample"
    REPLICATE = "replicate"
    ATTRIBUTE = "attribute"
    NAME_OF_ATTRIBUTE = "name of attribute"
    SCORE = "score"
    COMMENT = "comment"
    CODE = "code"
    ORDER = "order"
    ANSWER = "answer"
    DATE = "date"
    AS_HEADED = "as headed"
    IGNORE = "ignore"


_WORDS = {
    Role.ASSESSOR: "assessor person name taster judge panelist prüfer prüferin prüfperson tester "
    "verkoster teilnehmer evaluador juez catador panelista évaluateur juge dégustateur sujet",
    Role.SAMPLE: "sample product batch lot probe muster produkt charge muestra producto lote "
    "échantillon produit",
    Role.REPLICATE: "replicate repetition round rep wiederholung wdh durchgang repetición réplica "
    "ronda répétition réplique tour",
    Role.NAME_OF_ATTRIBUTE: "merkmal eigenschaft atributo attribut descripteur descriptor",
    Role.SCORE: "score rating bewertung intensität punkte wert puntuación intensidad note "
    "intensité",
    Role.COMMENT: "comment comments remark remarks kommentar bemerkung anmerkung notiz comentario "
    "observación observaciones commentaire remarque",
    Role.CODE: "code blindingcode codenummer código",
    Role.ORDER: "order servingorder sequence reihenfolge orden ordre",
    Role.ANSWER: "answer response antwort respuesta réponse",
    Role.DATE: "date time day datum tag uhrzeit zeit fecha hora día heure jour",
    Role.IGNORE: "nr no number id position platz booth kabine",
}
_ROLE_OF = {looks_like(word): role for role, words in _WORDS.items() for word in words.split()}
_ROLE_OF |= {looks_like("attribute"): Role.NAME_OF_ATTRIBUTE}
_STEMS = {looks_like(word): role for word, role in (("prüfer", Role.ASSESSOR),
          ("proben", Role.SAMPLE), ("kommentar", Role.COMMENT), ("datum", Role.DATE),
          ("wiederholung", Role.REPLICATE))}  # fmt: skip


def role_of(heading: str, cells: Sequence[str] = ()) -> Role:
    """The role that a heading and the cells below it speak for.

    >>> [role_of(heading).value for heading in ("Prüfer", "échantillon", "Datum", "Wdh.")]
    ['assessor', 'sample', 'date', 'replicate']
    >>> role_of("bitter", ["5,5", "", "6"]).value, role_of("mood", ["good", "5"]).value
    ('attribute', 'ignore')
    """
    key = looks_like(heading)
    if role := _ROLE_OF.get(key):
        return role
    for stem, role in _STEMS.items():
        if key.startswith(stem):
            return role
    if key and any(_known(kind.ballot, heading) for kind in kinds()):
        return Role.AS_HEADED
    filled = [cell for cell in cells if cell.strip()]
    numbers = sum(1 for cell in filled if _NUMBER.fullmatch(cell.strip()))
    return Role.ATTRIBUTE if key and filled and numbers > len(filled) / 2 else Role.IGNORE


def _known(ballot: BallotColumns, heading: str) -> bool:
    return ballot.known(heading) is not None


def heading_at(lines: Sequence[Line]) -> int:
    """Index of the line that names the columns: merged titles and notes may stand above it.

    The line with the most words of roles; where none has any, the first with several texts.

    >>> heading_at([(1, ["Panel, March"]), (3, ["Prüfer", "Probe", "süß"]), (4, ["A", "1", "5"])])
    1
    """
    best, most = 0, (0, 0)
    for at, (_, line) in enumerate(lines[:HEADER_WITHIN]):
        texts = [text for text in line if text.strip()]
        roles = {role_of(text) for text in texts} - {Role.IGNORE}
        words = sum(1 for text in texts if not _NUMBER.fullmatch(text.strip()))
        weight = (len(roles), words if words > 1 else 0)
        if weight > most:
            best, most = at, weight
    return best
