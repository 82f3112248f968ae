"""Products, references, batches, lists, assessors, series, sittings and studies as rows.

A row holds the whole noun as JSON; the other columns and the links follow from it, so that
they can be sought quickly and checked against it.
"""

from __future__ import annotations

from ..base.records import JsonObject, digest_of
from ..base.spelling import key_of
from ..catalogue.attributes import Vocabulary
from ..panel.assessors import Assessor
from ..panel.series import ScreeningRules, TakenSeries
from ..panel.training_rule import TrainingRule
from ..release.batch_records import BatchRecord, ProductRecord
from ..release.plant import Plant
from ..release.references import Reference
from ..release.studies import Study
from ..sessions.file_shape import FileShape
from ..sessions.sitting import Sitting
from ..sessions.trained import TrainingSitting

Noun = (
    ProductRecord
    | Reference
    | BatchRecord
    | Plant
    | Assessor
    | TakenSeries
    | ScreeningRules
    | Sitting
    | FileShape
    | Study
    | Vocabulary
    | TrainingSitting
    | TrainingRule
)

KINDS: dict[str, type[Noun]] = {
    "product": ProductRecord,
    "reference": Reference,
    "batch": BatchRecord,
    "plant": Plant,
    "assessor": Assessor,
    "screening series": TakenSeries,
    "screening rules": ScreeningRules,
    "sitting": Sitting,
    "file shape": FileShape,
    "study": Study,
    "vocabulary": Vocabulary,
    "training": TrainingSitting,
    "training rule": TrainingRule,
}


def kind_of(noun: object) -> str:
    """Name of the kind of a noun, or of its class."""
    of = noun if isinstance(noun, type) else type(noun)
    return next(name for name, kind in KINDS.items() if kind is of)


def id_of(kind: str, name: str) -> str:
    """Under which identifier a noun stands in register and journal.

    >>> id_of("batch", "PE-14") == id_of("batch", " pe-14"), len(id_of("batch", "PE-14"))
    (True, 32)
    """
    return digest_of([kind, key_of(name)])[:32]


def row_of(kind: str, content: JsonObject) -> tuple[JsonObject, list[tuple[str, str]]]:
    """The columns of a noun that is given as plain data, and what it hangs together with."""
    noun = KINDS[kind].from_dict(content)
    product, made_on, line, state = noun.name, "", "", ""
    if isinstance(noun, BatchRecord):
        batch = noun.batch
        product, made_on, line, state = batch.product, batch.made_on, batch.line, noun.state
    elif isinstance(noun, Reference):
        product, made_on = noun.product, noun.made_on
    elif isinstance(noun, Assessor):
        made_on = noun.entered_on
    elif isinstance(noun, TakenSeries):
        product, made_on = noun.assessor, noun.started_on
    elif isinstance(noun, Sitting):
        made_on = noun.held_on
    elif isinstance(noun, Study):
        product, made_on, state = noun.product, noun.held_on, noun.kind
    elif isinstance(noun, TrainingSitting):
        product, made_on = noun.product, noun.held_on
    elif isinstance(noun, Vocabulary):
        made_on = noun.since
    row = {
        "id": id_of(kind, noun.name),
        "kind": kind,
        "name": key_of(noun.name),
        "product": key_of(product),
        "on_date": made_on,
        "line": line,
        "state": state,
        "content": content,
    }
    return row, sorted(noun.links()) if isinstance(noun, BatchRecord | Study) else []
