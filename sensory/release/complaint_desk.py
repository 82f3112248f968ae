"""Use cases of a complaint: recorded, looked into, closed.

Why so
------
A complaint withdraws the clearance, so that nobody tastes the batch before food safety has looked
at it, and the batch is open again until it is decided anew. The complaint itself stays open until
somebody closes it: what is done about a cause takes longer than the decision on a batch.
"""

from __future__ import annotations

from dataclasses import replace

from ..base.errors import RecordError
from ..base.record_checks import iso_date
from ..base.records import utc_now
from ..sessions.signing import TYPED
from ..sessions.staff import signature
from .batch_records import OPEN_COMPLAINT, BatchRecord, Complaint
from .batches import Clearance
from .plant_desk import the_plant
from .product_desk import Desk, answer_cautions, the_batch


def open_complaints(desk: Desk) -> list[BatchRecord]:
    """The batches that have a complaint which is not closed, by date of making."""
    return desk.linked(*OPEN_COMPLAINT)


def record_complaint(
    desk: Desk,
    number: str,
    text: str,
    *,
    received_on: str,
    owner: str = "",
    suspected: str = "",
    who: str,
    how: str = TYPED,
) -> BatchRecord:
    """Put a complaint on record: the batch is open again and waits for food safety.

    A batch under complaint is not tasted until food safety has cleared it, so an earlier
    clearance no longer holds, nor a permission to smell it; the declaration of allergens stays.
    `owner` is who sees to it; `suspected` says where a chemical taint or foreign matter is
    suspected. A decision that a second person has not confirmed is dropped. `how` says how far the
    name of `who` is proven, see `sessions.staff.signature`.

    Raises RecordError without a text or a date, for a date to come, or from somebody who is not
    among the people who sign.
    """
    if received_on > utc_now()[:10]:
        raise RecordError(f"A complaint cannot be of {received_on}, which is still to come.")
    with desk.action(who=who, why=f"received on {received_on}") as act:
        record = the_batch(act, number)
        signed = act.sign(signature(act, who, None, how=how))
        complaint = Complaint(
            text=text.strip(),
            received_on=received_on,
            after=len(record.decisions),
            owner=" ".join(owner.split()),
            recorded_by=signed.by,
            recorded_role=signed.role,
        )
        there = record.clearance or (Clearance(batch=record.name) if suspected else None)
        cleared = there and replace(
            there,
            food_safe=None,
            food_safe_by="",
            food_safe_role="",
            food_safe_on="",
            evidence="",
            suspected=suspected or there.suspected,
            smelling_by="",
            smelling_role="",
            smelling_on="",
        )
        complaints = (*record.complaints, complaint)
        new = replace(record, clearance=cleared, complaints=complaints, proposed=None)
        act.put_noun(new, expect=record, what="complaint")
        answer_cautions(act, new, {"cleared": False})
        return new


def look_into(
    desk: Desk, number: str, place: int, *, owner: str, cause: str = "", action: str = "", who: str
) -> BatchRecord:
    """Keep who sees to a complaint, its cause by the plant's list, and what is done about it.

    `place` counts the complaints of the batch from 1.

    Raises RecordError where there is no such complaint or it is closed, without an owner, or for
    a cause that is not on the list.
    """
    if not owner.strip():
        raise RecordError("Say who sees to the complaint.")
    with desk.action(who=who, why=f"complaint {place}") as act:
        record = the_batch(act, number)
        complaint = replace(
            _open(record, place),
            owner=" ".join(owner.split()),
            cause=the_plant(act).cause(cause) if cause.strip() else "",
            action=" ".join(action.split()),
        )
        new = _with(record, place, complaint)
        act.put_noun(new, expect=record, what="complaint looked into")
        return new


def close_complaint(
    desk: Desk, number: str, place: int, *, by: str, on: str = "", who: str, how: str = TYPED
) -> BatchRecord:
    """Close a complaint whose cause is named and about which something was done.

    `how` says how far the name of `by` is proven, see `sessions.staff.signature`.

    Raises RecordError while the batch waits for a new decision, without owner, cause or action,
    from somebody who is not among the people who sign, before it was received, or where it is
    closed already.
    """
    with desk.action(who=who, why=f"complaint {place}") as act:
        record = the_batch(act, number)
        complaint = _open(record, place)
        if record.complained:
            raise RecordError(f"Decide {record.name} anew before its complaint is closed.")
        day = on or utc_now()[:10]
        if iso_date("on", day) < iso_date("received_on", complaint.received_on):
            raise RecordError(f"The complaint came on {complaint.received_on}, after {day}.")
        signed = act.sign(signature(act, by, None, how=how))
        closed = replace(complaint, closed_by=signed.by, closed_role=signed.role, closed_on=day)
        new = _with(record, place, closed)
        act.put_noun(new, expect=record, what="complaint closed")
        return new


def _open(record: BatchRecord, place: int) -> Complaint:
    if not 1 <= place <= len(record.complaints):
        raise RecordError(f"{record.name} has no complaint {place}.")
    complaint = record.complaints[place - 1]
    if complaint.closed:
        raise RecordError(f"Complaint {place} of {record.name} was closed {complaint.closed_on}.")
    return complaint


def _with(record: BatchRecord, place: int, complaint: Complaint) -> BatchRecord:
    complaints = list(record.complaints)
    complaints[place - 1] = complaint
    return replace(record, complaints=tuple(complaints))
