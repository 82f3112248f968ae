"""The use cases of a session: open, describe, agree, enter ballots, close, find.

A use case that changes the record does so in one action; see `Store`.

Why so
------
Closing opens the finding. Ballots can be opened again only with a reason; what changes after the
finding was seen is listed in the report.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any
from uuid import uuid4

from ..base.errors import BallotError, RecordError
from ..base.records import utc_now
from ..catalogue.checking import CheckedBallots
from ..catalogue.columns import Cells, filled_lines
from ..catalogue.kind import KnownTruth
from ..catalogue.outcome import Outcome
from ..catalogue.outcome_json import outcome_to_json
from ..catalogue.question import Question
from ..catalogue.scales import agreed_scale
from ..catalogue.tests import find_kind, kinds, protocol_of
from ..choices.risks import SessionRisks, session_risks
from ..serving.ballot_line import lines_from
from ..serving.cups import check_seats
from .care import Care
from .lines import cells_of_file
from .missing import missing_in_question, unmet_cautions
from .outcome_names import without_names
from .outcomes import check_ballots, edition, read_ballots_of
from .samples import check_reference
from .session import SessionDetails, StoredSession
from .signing import TYPED, Right
from .sitting import Sitting, sitting_of
from .staff import signature
from .store import Action, Store
from .trained import TrainingSitting, trained_of


def open_session(
    store: Store,
    session_id: str,
    *,
    details: SessionDetails,
    question: Question,
    cautions: Mapping[str, bool] | None = None,
    cells: Cells | None = None,
    who: str,
    why: str,
) -> StoredSession:
    """Put a new session on record, with ballots if there are any."""
    session = StoredSession(
        id=session_id,
        created_at=utc_now(),
        details=details,
        question=question,
        cautions=dict(cautions or {}),
    )
    with store.action(who=who, why=why) as act:
        act.add(session, cells or {})
    return session


def describe(
    store: Store,
    session_id: str,
    *,
    details: SessionDetails | None = None,
    question: Question | None = None,
    cautions: Mapping[str, bool] | None = None,
    who: str,
    how: str = TYPED,
) -> StoredSession:
    """Save what was typed about a session; only what differs is written.

    Adverse reactions stay as they were reported. Whoever newly cleared the samples, or allows them
    to be smelled, signs it; `how` says how far that name is proven, see `sessions.staff.signature`.

    Raises RecordError when the question is already agreed and would change, what the samples hold
    changes after an assessor has consented, or they are cleared by somebody who may not clear.
    """
    with store.action(who=who, why="typed") as act:
        session = act.session(session_id)
        changed = replace(
            session,
            details=_described(act, session, details, how),
            question=question if question is not None else session.question,
            cautions=dict(cautions) if cautions is not None else session.cautions,
        )
        if changed == session:
            return session
        if (session.question.training is None) != (changed.question.training is None):
            raise RecordError("A session is training, or is not, from its beginning.")
        if session.agreed and changed.question != session.question:
            raise RecordError(
                f"The question was agreed at {session.agreed_at} and is frozen. "
                "Open a new session for another question."
            )
        if session.closed:
            raise RecordError("The session is closed; reopen it with a reason to change it.")
        act.put(changed, expect=session, what="described")
        return changed


def _described(
    act: Action, session: StoredSession, details: SessionDetails | None, how: str
) -> SessionDetails:
    """The new description; what was reported, and what people consented to, is not typed away."""
    before = session.details.care
    if details is None or details.care == before:
        return details or session.details
    care = replace(details.care, reactions=before.reactions)
    told = (care.contains, care.suspected) != (before.contains, before.suspected)
    if told and any(line.consented for line in lines_from(act.cells(session.id))):
        raise RecordError(
            "Assessors have consented to what they were told of these samples. Stop this session, "
            "and open a new one with what the samples hold."
        )
    return replace(details, care=_signed(act, before, care, how))


def _signed(act: Action, before: Care, care: Care, how: str) -> Care:
    """The same with the role of who newly cleared the samples, or allows them to be smelled."""
    if care.cleared_by.strip() and _cleared(care) != _cleared(before):
        signed = act.sign(signature(act, care.cleared_by, Right.CLEAR, how=how))
        care = replace(care, cleared_by=signed.by, cleared_role=signed.role)
    if care.smelling_by.strip() and _allowed(care) != _allowed(before):
        signed = act.sign(signature(act, care.smelling_by, Right.CLEAR, how=how))
        care = replace(care, smelling_by=signed.by, smelling_role=signed.role)
    return care


def _cleared(care: Care) -> tuple[str, ...]:
    return care.cleared_by, care.cleared_role, care.cleared_on, care.evidence


def _allowed(care: Care) -> tuple[str, ...]:
    return care.smelling_by, care.smelling_role, care.smelling_on


def new_session_id() -> str:
    """A fresh identifier that cannot be guessed: 32 hexadecimal digits."""
    return uuid4().hex


def limit_as_dprime(question: Question) -> float:
    """The agreed limit as d-prime, which another protocol can use."""
    protocol = protocol_of(question.protocol)
    return float(protocol.dprime(float(protocol.pc_at(question.limit))))


def limit_from_dprime(protocol_key: str, dprime: float) -> float:
    """The share of distinguishers that a d-prime means in a protocol."""
    protocol = protocol_of(protocol_key)
    return float(protocol.distinguishers(protocol.proportion_correct(dprime)))


def limit_elsewhere(dprime: float) -> list[tuple[str, float]]:
    """What a d-prime means as share of distinguishers in each forced choice, by name of the test.

    >>> dict(limit_elsewhere(1.0))["triangle"]
    0.127
    """
    return [
        (kind.name, round(limit_from_dprime(kind.key, dprime), 3))
        for kind in kinds()
        if kind.protocol and not kind.protocol.asks_attribute
    ]


def planned_risks(question: Question, trials: int | None = None) -> SessionRisks:
    """The chances that hang on the question, for the planned or another number of answers."""
    return session_risks(
        protocol_of(question.protocol),
        question.assessors if trials is None else trials,
        alpha=question.alpha,
        beta=question.beta,
        pd_limit=question.limit,
        two_sided=question.two_sided,
    )


def agree(store: Store, session_id: str, *, who: str, how: str = TYPED) -> StoredSession:
    """Freeze the question: from here on alpha, beta, the limit and the actions stand.

    `how` says how far the name is proven, see `sessions.staff.signature`.

    Raises RecordError when it is agreed already, a caution is not answered with yes, nobody is
    named who cleared the samples, the question is incomplete, its reference is none of the samples
    on the ballots, or `who` may not agree it.
    ArgumentError when a risk or the limit is impossible.
    """
    session, cells = store.session(session_id), store.cells(session_id)
    if session.agreed:
        raise RecordError(f"The question was already agreed at {session.agreed_at}.")
    if not who.strip():
        raise RecordError("Say who agrees: the name of the panel leader is empty.")
    if unmet := unmet_cautions(session):
        raise RecordError("Not before every caution is answered with yes: " + " / ".join(unmet))
    if missing := session.details.care.missing():
        raise RecordError("Before anybody tastes: " + " / ".join(missing))
    if missing := missing_in_question(session.question):
        raise RecordError("The question is not complete: " + " / ".join(missing))
    _check_plan(session.question)
    check_reference(session.question, cells)
    question = replace(session.question, standard=edition(session.question))
    frozen = replace(
        session,
        question=question,
        agreed_at=utc_now(),
        digest=question.digest,
        ballots_at_agreement=len(filled_lines(cells)),
    )
    with store.action(who=who, why=question.decision or "training") as act:
        signed = act.sign(signature(act, who, Right.AGREE, how=how))
        frozen = replace(frozen, agreed_by=signed.by, agreed_role=signed.role)
        act.unchanged(session, cells)
        act.put(frozen, expect=session, what="agreed")
    return frozen


def _check_plan(question: Question) -> None:
    """Refuse risks, limits and settings that no session can have."""
    kind = find_kind(question.protocol)
    kind.check(question.settings if kind.protocol is None else {})
    if question.vocabulary and kind.answer == "scores":
        question.vocabulary.check_scale(agreed_scale(question.settings))
    if question.training is not None:
        samples = kind.listed(question.settings, "samples")
        asked, scale = kind.attributes(question), agreed_scale(question.settings)
        question.training.check(asked, samples, scale)
    if kind.protocol:
        planned_risks(question)
        kind.protocol.right_answers(kind.protocol.orders[0], question.target)


def enter_cells(
    store: Store, session_id: str, changes: Cells, *, who: str, why: str = "typed"
) -> int:
    """Save typed cells; cells that are already so are not written again. Returns how many were.

    Raises RecordError when the ballots are closed, or an assessor of the serving plan would lose
    their seat.
    """
    with store.action(who=who, why=why) as act:
        session = act.session(session_id)
        if session.closed:
            raise RecordError("The ballots are closed; reopen the session with a reason.")
        if session.serving:
            check_seats(act.cells(session_id), changes)
        return act.write_lines(session_id, changes)


def checked_ballots(store: Store, session_id: str) -> CheckedBallots:
    """The ballots of a session, judged."""
    session = store.session(session_id)
    return check_ballots(store.cells(session_id), session.question)


def close(store: Store, session_id: str, *, who: str) -> StoredSession:
    """Close the ballots, which opens the finding.

    Raises RecordError when the question is not agreed, or no ballot names its reference.
    BallotError when ballots have to be mended.
    """
    closing = closing_of(store, session_id)
    with store.action(who=who) as act:
        closing.write(act)
    return closing.session


@dataclass(frozen=True, slots=True, kw_only=True)
class Closing:
    """A session as it will be when it is closed, from the ballots that were read for it.

    `session`: the closed one.
    `cells`: the ballots.
    `outcome`: what they show; None where it was closed already.
    `sitting`: what each assessor did; None where it was closed already, and of training.
    `trained`: what was marked in training; None else.
    """

    session: StoredSession
    before: StoredSession
    cells: Cells
    outcome: Outcome | None = None
    sitting: Sitting | None = None
    trained: TrainingSitting | None = None

    def write(self, act: Action) -> None:
        """Close it; RecordError where session or ballots were changed meanwhile."""
        act.unchanged(self.before, self.cells)
        if self.outcome is not None:
            plain = without_names(outcome_to_json(self.outcome), self.cells)
            act.keep_outcome(self.session.id, plain)
        why = self.outcome.line() if self.outcome else "training: no finding"
        if self.session != self.before:
            act.put(self.session, expect=self.before, what="closed", why=why)
        keep_answers(act, self.sitting, self.trained)


def keep_answers(act: Action, sitting: Sitting | None, trained: TrainingSitting | None) -> None:
    """Keep what each assessor did, for the history of the panel or for the learning curves."""
    if sitting is not None:
        act.keep_sitting(sitting)
    if trained is not None:
        act.keep_training(trained)


def closing_of(
    store: Store, session_id: str, before: Mapping[str, KnownTruth] | None = None
) -> Closing:
    """Read the ballots for `close`, before anything is written; a closed session stays as it is.

    `before`: as in `outcomes.read_ballots_of`.

    Raises RecordError, BallotError as in `close`.
    """
    session, cells = store.session(session_id), store.cells(session_id)
    if session.closed:
        return Closing(session=session, before=session, cells=cells)
    if not session.agreed:
        raise RecordError("Agree the question first: alpha, beta and the limit come before.")
    if unmet := unmet_cautions(session):
        raise RecordError("A caution is no longer answered with yes: " + " / ".join(unmet))
    if session.details.care.unwell:
        raise RecordError(
            "An adverse reaction was reported: take it up first, on the page Serving."
        )
    check_reference(session.question, cells)
    checked = check_ballots(cells, session.question)
    if checked.blocking:
        raise BallotError(checked.blocking)
    closed = replace(session, closed_at=utc_now())
    if session.question.training is not None:
        trained = trained_of(session, checked)
        return Closing(session=closed, before=session, cells=cells, trained=trained)
    outcome = read_ballots_of(checked, session.question, before)
    sitting = sitting_of(session, cells, checked)
    return Closing(session=closed, before=session, cells=cells, outcome=outcome, sitting=sitting)


def reopen(store: Store, session_id: str, *, who: str, why: str) -> StoredSession:
    """Open the ballots again after the finding was seen; the report will say so.

    Raises RecordError without a reason, or when the session is not closed.
    """
    with store.action(who=who, why=why.strip()) as act:
        session = act.session(session_id)
        if not session.closed:
            raise RecordError("The session is open already.")
        if not why.strip():
            raise RecordError("Say why the ballots are opened again; the report shows the reason.")
        opened = replace(session, closed_at="")
        act.keep_outcome(session_id, None)
        act.put(opened, expect=session, what="reopened")
        if sitting := act.sitting(session_id):
            act.keep_sitting(sitting.emptied())
        if trained := act.training(session_id):
            act.keep_training(trained.emptied())
        return opened


def read_prepared(folder: Path, name: str) -> dict[str, Any]:
    """A session prepared in files: `name`.json for the words, `name`.csv for the ballots.

    Returns the keyword arguments `details`, `question`, `cautions` and `cells` of
    `open_session`.
    """
    plain = json.loads((folder / f"{name}.json").read_text(encoding="utf-8"))
    question = Question.from_dict(plain["question"])
    cells, _ = cells_of_file(folder / f"{name}.csv", find_kind(question.protocol).ballot)
    return {
        "details": SessionDetails.from_dict(plain["details"]),
        "question": question,
        "cautions": {str(key): bool(value) for key, value in plain["cautions"].items()},
        "cells": cells,
    }
