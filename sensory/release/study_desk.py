"""Use cases of a study: read, answered, kept on record, found again."""

from __future__ import annotations

import secrets
from dataclasses import dataclass, replace

import pandas as pd

from ..base.errors import ArgumentError, BallotError, RecordError, SensoryError
from ..base.records import utc_now
from ..base.spelling import key_of
from ..sessions.sheets import Source
from ..sessions.signing import TYPED, Right
from ..sessions.staff import signature
from .batch_records import BatchRecord
from .product_desk import Desk, the_batch, the_product
from .studies import Study, StudyColumn, put_names, take_names
from .study_kinds import Answer, Roles, Settings, StudyKind, doubts_of_people
from .study_rows import first_spelling, in_places, study_columns


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Answered:
    """Rows with what they show, people by their places; not on record yet."""

    rows: tuple[StudyColumn, ...]
    people: tuple[str, ...]
    answer: Answer


def answered(kind: StudyKind, source: Source, settings: Settings, roles: Roles) -> Answered:
    """Read a file of a study, and what its rows show.

    Raises ArgumentError or BallotError for what cannot be read or answered, with names as the file
    has them.
    """
    kind.check(settings)
    return answered_rows(kind, kind.rows_of(source, roles), settings)


def answered_rows(kind: StudyKind, rows: pd.DataFrame, settings: Settings) -> Answered:
    """The same of rows that were read, or that the record holds."""
    placed, people = in_places(rows, kind.people)
    try:
        answer = kind.answer(first_spelling(placed, kind.people, people), settings)
    except BallotError as error:
        raise BallotError(
            [
                replace(
                    fault,
                    value=put_names(fault.value, people),
                    problem=put_names(fault.problem, people),
                    advice=put_names(fault.advice, people),
                )
                for fault in error.faults
            ]
        ) from error
    except SensoryError as error:
        raise ArgumentError(put_names(str(error), people)) from error
    doubts = tuple(take_names(doubt, people) for doubt in doubts_of_people(people))
    answer = replace(answer, cannot_tell=(*doubts, *answer.cannot_tell))
    return Answered(rows=study_columns(placed), people=people, answer=answer)


def keep_study(desk: Desk, study: Study, *, who: str, why: str = "", how: str = TYPED) -> Study:
    """Put a study on record, with who did so, in one action with its journal entry.

    Raises RecordError where the same rows with the same settings are on record, withdrawn ones too,
    for a product or a batch that is not, or without a name.
    """
    with desk.action(who=who, why=why or study.title) as act:
        signed = act.sign(signature(act, who, None, how=how))
        for other in act.studies(kind=study.kind):
            if other.digest == study.digest and other.withdrawn:
                raise RecordError(not_used(other))
            if other.digest == study.digest:
                raise RecordError(
                    f"These rows with these settings are on record already: {other.title}, "
                    f"{other.held_on}, kept by {other.kept_by}."
                )
        product = the_product(act, study.product).name if study.product.strip() else ""
        batch = _batch(act, study.batch, product)
        kept = replace(
            study,
            key=secrets.token_hex(16),
            product=product or (batch.batch.product if batch else ""),
            batch=batch.name if batch else "",
            kept_by=signed.by,
        )
        act.put_noun(kept, expect=None, what="study kept")
        return kept


def withdraw_study(desk: Desk, key: str, *, who: str, why: str, how: str = TYPED) -> Study:
    """Withdraw a study: it stays on record, and nothing may rest on it any more.

    Raises RecordError without a reason, for a study that is not there or withdrawn already, or from
    somebody who may not agree limits.
    """
    if not why.strip():
        raise RecordError("Say why the study is withdrawn; the journal keeps it.")
    with desk.action(who=who, why=why.strip()) as act:
        signed = act.sign(signature(act, who, Right.AGREE, how=how))
        study = the_study(act, key)
        if study.withdrawn:
            raise RecordError(f"{study.title} is withdrawn already. {study.withdrawn_words}.")
        new = replace(
            study,
            withdrawn_by=signed.by,
            withdrawn_role=signed.role,
            withdrawn_on=utc_now()[:10],
            withdrawn_why=" ".join(why.split()),
        )
        act.put_noun(new, expect=study, what="study withdrawn")
        return new


def withdrawn_same(desk: Desk, study: Study) -> Study | None:
    """The withdrawn study of the same rows with the same settings; None where there is none."""
    same = (each for each in desk.studies(kind=study.kind) if each.withdrawn)
    return next((each for each in same if each.digest == study.digest), None)


def withdrawn_behind(desk: Desk, product: str, reason: str) -> list[Study]:
    """Withdrawn studies of a product whose SHA-256 a reason names."""
    known = desk.studies(product=product)
    return [each for each in known if each.withdrawn and each.digest[:12] in reason]


def not_used(study: Study) -> str:
    """That rows of a withdrawn study are not used again."""
    return f"These rows with these settings are not used. {study.withdrawn_words}"


def the_study(desk: Desk, key: str) -> Study:
    """A study; RecordError when there is none of that key."""
    study = desk.noun(Study, key)
    if study is None:
        raise RecordError("There is no such study on record. Choose one from the list.")
    return study


def _batch(desk: Desk, number: str, product: str) -> BatchRecord | None:
    if not number.strip():
        return None
    record = the_batch(desk, number)
    if product and key_of(record.batch.product) != key_of(product):
        raise RecordError(
            f"Batch {record.name} is of {record.batch.product}, not of {product}. Name one of "
            "that product, or leave the batch empty."
        )
    return record
