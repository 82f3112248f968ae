"""Use cases of references: compared in a tasting on record, taken over, compared again, counted.

Why so
------
A new reference takes over through a tasting beside the old one, and its bridge is read off what
that session showed: nobody types a finding. Where similarity was not shown, or nothing could be
tasted (none of the old one is left, for example), the role that decides on batches decides, with
a reason, which then stands on every batch compared with the new reference.

In the session the old reference is letter A, so that an estimate is always newer less older. A
session with a wider limit than the product's is no bridge: with a wide limit everything is similar.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from math import isfinite

from ..base.errors import RecordError
from ..base.record_checks import iso_date
from ..base.spelling import key_of, same_person
from ..catalogue.outcome import Comparison, Outcome
from ..catalogue.outcome_words import overall
from ..catalogue.tests import find_kind
from ..sessions.finding import outcome_of_session
from ..sessions.search import ALL
from ..sessions.session import Sample, StoredSession
from ..sessions.signing import TYPED, Right
from ..sessions.staff import signature
from ..sessions.workflow import new_session_id, open_session
from .batch_questions import compared_references
from .batch_records import ProductRecord
from .product_desk import Desk, DeskAction, rule_of, the_product
from .references import Bridge, Reference
from .tasting_outcomes import held_on


def the_reference(desk: Desk, name: str) -> Reference:
    """A reference; RecordError when there is none of that name."""
    reference = desk.noun(Reference, name)
    if reference is None:
        raise RecordError(f"There is no reference {name!r} on record.")
    return reference


def open_comparison(
    desk: Desk, product: str, name: str, to: str, *, batch: str = "", test: str = "", who: str
) -> StoredSession:
    """Open a session in which a new reference is tasted beside an older one.

    `test` is one that takes a margin for each attribute, those of the product; the test of the
    release rule with its limit where it is empty.

    Raises RecordError without a rule, a name or the margins that the test needs, or for an older
    one that is not on record; ArgumentError for a test that has no margins.
    """
    if not name.strip():
        raise RecordError("Name the new reference first.")
    product_record = the_product(desk, product)
    rule = rule_of(product_record)
    if rule is None:
        raise RecordError(f"{product} has no release rule: agree one first.")
    if test and test != rule.test:
        margins = product_record.product.margins
        if not margins:
            raise RecordError(f"{product} has no margins yet: state them on the page Products.")
        rule = replace(rule, test=test, limit=None, margins=margins, retest=None, scatter=None)
    details, question = compared_references(the_reference(desk, to), name.strip(), batch, rule)
    why = f"reference {name.strip()} beside {to}"
    session_id = new_session_id()
    return open_session(desk, session_id, details=details, question=question, who=who, why=why)


def tasted_bridge(
    desk: Desk, session_id: str, reference: str, to: str, *, batch: str = "", attribute: str = ""
) -> Bridge:
    """The bridge that a closed session on record makes between two references.

    Parameters
    ----------
    reference, batch : str
        The newer one, which need not be on record yet, and the batch it was taken from.
    to : str
        The older one, letter A of the session.
    attribute : str
        Of a profile, whose estimate is kept to follow the drift; empty for none.

    Raises RecordError for a session that is not closed, compares something else, or has a wider
    limit than the product; for an attribute that it does not compare.
    """
    session, older = desk.session(session_id), the_reference(desk, to)
    place = f"Session {session.details.title or session_id[:8]}"
    if not session.closed:
        raise RecordError(f"{place} is not closed yet: a bridge stands on what a session showed.")
    names = {key_of(name) for name in (reference, batch) if name.strip()}
    _check_samples(session.details.samples, names, older, place, reference)
    outcome = outcome_of_session(desk, session)
    compared = _of_samples(outcome, names)
    if outcome.comparisons and not compared:
        raise RecordError(f"{place} compares several samples, and none is called {reference}.")
    _check_limits(the_product(desk, older.product), outcome, place)
    estimate, se = _estimate(outcome, compared, attribute, place) if attribute else (None, None)
    return Bridge(
        reference=reference,
        to=older.name,
        held_on=held_on(session),
        finding=overall([each.finding for each in compared]) if compared else outcome.finding,
        estimate=estimate,
        se=se,
        session=session_id,
        shown=f"{_numbers(outcome, compared)}; session {session_id[:8]}",
        attribute=attribute,
    )


def bridging_sessions(
    desk: Desk, reference: str, to: str, *, batch: str = ""
) -> list[StoredSession]:
    """The closed sessions on record in which both were compared, newest first."""
    older, fitting = the_reference(desk, to), []
    names = {key_of(name) for name in (reference, batch) if name.strip()}
    for session in desk.sessions(ALL, naming=to) if names else ():
        try:
            _check_samples(session.details.samples, names, older, "", reference)
        except RecordError:
            continue
        tested = session.closed and session.question.training is None
        fitting += [session] if tested else []
    return fitting


def _named(sample: Sample) -> set[str]:
    texts = (*sample.name.split(";"), *sample.batch.split(";"))
    return {key_of(text) for text in texts if text.strip()}


def _check_samples(
    samples: tuple[Sample, ...], names: set[str], older: Reference, place: str, reference: str
) -> None:
    """Refuse a session whose letter A is not the older one, or that lacks the newer one."""
    old = {key_of(name) for name in (older.name, older.batch) if name.strip()}
    first = set[str]().union(*(_named(sample) for sample in samples if sample.letter == "A"))
    others = set[str]().union(*(_named(sample) for sample in samples if sample.letter != "A"))
    if not first & old:
        raise RecordError(
            f"{place} does not have {older.name} as its sample A, so it is no comparison with it."
        )
    if not others & names:
        raise RecordError(f"{place} does not name {reference} among its samples beside A.")


def _of_samples(outcome: Outcome, names: set[str]) -> tuple[Comparison, ...]:
    named = tuple(each for each in outcome.comparisons if key_of(each.sample) in names)
    single = len({each.sample for each in outcome.comparisons}) == 1
    return named or (outcome.comparisons if single else ())


def _check_limits(record: ProductRecord, outcome: Outcome, place: str) -> None:
    """Refuse limits that are wider than what is agreed for batches of the product."""
    rule = rule_of(record)
    for name, size in outcome.margins.items():
        agreed = {**record.product.margins, **(rule.margins if rule else {})}.get(name)
        if rule and outcome.test == rule.test and agreed is None:
            agreed = rule.limit
        if agreed is not None and size > agreed:
            raise RecordError(f"{place} allows {size:g} in {name}, the product {agreed:g}.")
    if rule is None or outcome.test != rule.test or outcome.margins:
        return
    if outcome.limit is not None and rule.limit is not None and outcome.limit > rule.limit:
        raise RecordError(
            f"{place} allows {outcome.limit:.0%} distinguishers, the release rule {rule.limit:.0%}."
        )


def _estimate(
    outcome: Outcome, compared: tuple[Comparison, ...], attribute: str, place: str
) -> tuple[float, float]:
    terms = find_kind(outcome.test).release
    if terms is None or terms.by != "margins":
        raise RecordError(
            f"{place} is a {find_kind(outcome.test).name}, whose difference has no direction, so "
            "its steps cannot be added. Leave the attribute out, or taste a profile."
        )
    for each in compared:
        if key_of(each.attribute) == key_of(attribute) and isfinite(each.se):
            return each.estimate, each.se
    scored = ", ".join(each.attribute for each in compared if isfinite(each.se))
    raise RecordError(
        f"{place} has no estimate of {attribute}; it has those of {scored or 'no attribute'}."
    )


def _numbers(outcome: Outcome, compared: tuple[Comparison, ...]) -> str:
    name, counts = find_kind(outcome.test).name, outcome.counts
    if counts.trials:
        limit = "" if outcome.limit is None else f", limit {outcome.limit:.0%}"
        return f"{name}: {counts.correct} of {counts.trials} correct{limit}"
    told = [
        f"{each.attribute} {each.estimate:+.2f}"
        + (f" (margin {each.margin:g})" if each.margin else "")
        for each in compared
        if isfinite(each.estimate)
    ]
    return f"{name}: {', '.join(told) or outcome.because}"


def take_over(
    desk: Desk, reference: Reference, *, who: str, why: str, how: str = TYPED
) -> ProductRecord:
    """Make a reference the one in use.

    The first one of a product needs no bridge. Every later one needs a bridge to the one
    before and one to the first, each from a tasting on record that showed similarity
    (`tasted_bridge`), or with the decision of the role that the release rule names, and a reason.
    Whoever decided signs the action; `how` says how far the name is proven, see
    `sessions.staff.signature`.

    Raises RecordError when a bridge is missing, leads elsewhere, has a finding that was typed or
    is not the one of its session, or shows no similarity and nobody entitled decided, or not the
    same person for both.
    """
    with desk.action(who=who, why=why) as act:
        record = the_product(act, reference.product)
        if record.references:
            _check_bridges(act, record, reference)
            reference = _signed(act, record, reference, how)
        elif reference.bridges:
            name = reference.name
            raise RecordError(f"{name} is the first reference: there is nothing to bridge.")
        new = replace(record, references=(*record.references, reference.name))
        act.put_noun(reference, expect=None, what="reference entered")
        act.put_noun(new, expect=record, what="reference in use")
        return new


def _signed(act: DeskAction, record: ProductRecord, reference: Reference, how: str) -> Reference:
    """The reference with its exceptions signed by who decided them."""
    rule = rule_of(record)
    exceptions = {
        name: bridge
        for name in ("bridged_to_previous", "bridged_to_first")
        if (bridge := getattr(reference, name)) is not None and not bridge.similar
    }
    if rule is None or not exceptions:
        return reference
    deciding = {same_person(bridge.decided_by): bridge.decided_by for bridge in exceptions.values()}
    if len(deciding) > 1:
        raise RecordError(
            f"The exceptions for {reference.name} are decided by one person; got "
            f"{' and '.join(deciding.values())}."
        )
    (by,) = deciding.values()
    signed = act.sign(signature(act, by, Right.DECIDE, role=rule.decides, how=how))
    own = {"decided_by": signed.by, "role": signed.role}
    return replace(
        reference, **{name: replace(bridge, **own) for name, bridge in exceptions.items()}
    )


def compare_again(desk: Desk, bridge: Bridge, *, who: str, why: str) -> Reference:
    """Keep how a reference that took over earlier was compared with the first one again.

    From the day of the comparison on, its drift is the one found there.

    Raises RecordError for a reference that is not on record, a bridge that leads to another than
    the first, or one that is not as its session on record showed.
    """
    with desk.action(who=who, why=why) as act:
        reference = the_reference(act, bridge.reference)
        first = the_product(act, reference.product).references[0]
        if key_of(bridge.to) != key_of(first):
            raise RecordError(f"The bridge has to lead to {first}, the first; got {bridge.to}.")
        if not bridge.session:
            raise RecordError(f"Name the session in which {bridge.reference} was compared again.")
        _check_read(act, bridge, reference)
        new = replace(reference, later=(*reference.later, bridge))
        act.put_noun(new, expect=reference, what="reference compared")
        return new


def count_stock(desk: Desk, name: str, stock: float, *, who: str) -> Reference:
    """Keep how many servings of a reference are left, counted by hand; from there tastings take off
    what they need.

    Raises RecordError for a reference that is not on record, or a negative count.
    """
    with desk.action(who=who, why=f"{stock:g} servings left") as act:
        reference = the_reference(act, name)
        new = replace(reference, stock=stock)
        act.put_noun(new, expect=reference, what="stock counted")
        return new


def _check_bridges(act: DeskAction, record: ProductRecord, reference: Reference) -> None:
    wanted = (
        ("the one before", record.references[-1], reference.bridged_to_previous),
        ("the first", record.references[0], reference.bridged_to_first),
    )
    for words, name, bridge in wanted:
        if bridge is None:
            raise RecordError(
                f"{reference.name} needs a bridge to {name}, {words}: a session on record in which "
                "both were tasted, or a decision to do without, with its reason."
            )
        if key_of(bridge.to) != key_of(name):
            raise RecordError(f"The bridge to {words} has to lead to {name}; got {bridge.to}.")
        if bridge.session:
            _check_read(act, bridge, reference)
        elif bridge.finding is not None:
            raise RecordError(
                f"{bridge.finding.heading} against {name} was typed. Name the closed session in "
                "which both were tasted; its finding is taken from there."
            )
        if not bridge.similar:
            _check_exception(record, bridge)


def _check_read(act: DeskAction, bridge: Bridge, reference: Reference) -> None:
    """Refuse a bridge that says something else than its session on record."""
    read = tasted_bridge(
        act,
        bridge.session,
        bridge.reference,
        bridge.to,
        batch=reference.batch,
        attribute=bridge.attribute,
    )
    decided = {name: getattr(bridge, name) for name in ("reason", "decided_by", "role")}
    if replace(read, **decided) != bridge:
        raise RecordError(
            f"The bridge from {bridge.reference} to {bridge.to} does not say what its session "
            f"showed: {read.words()}"
        )
    followed = set(_followed(act, reference.product)) - {key_of(bridge.attribute)}
    if bridge.attribute and followed:
        raise RecordError(
            f"Drift of {reference.product} is followed in {', '.join(sorted(followed))}; steps in "
            f"{bridge.attribute} could not be added to it."
        )


def _followed(desk: Desk, product: str) -> Iterator[str]:
    """The attribute in which earlier bridges of the product have their estimates."""
    for reference in desk.nouns(Reference, product):
        for bridge in reference.bridges:
            if bridge.attribute:
                yield key_of(bridge.attribute)


def _check_exception(record: ProductRecord, bridge: Bridge) -> None:
    """Refuse to do without similarity unless the named role decided it, with a reason."""
    rule = rule_of(record)
    if rule is None:
        raise RecordError(
            f"{record.name} has no release rule: agree one first, it names who may decide that "
            f"{bridge.reference} takes over without similarity."
        )
    iso_date("held_on", bridge.held_on)
    if not bridge.reason.strip() or not bridge.decided_by.strip():
        shown = bridge.finding.heading.lower() if bridge.finding else "not tasted"
        raise RecordError(
            f"Against {bridge.to} similarity was not shown ({shown}). Only {rule.decides} can "
            f"decide that {bridge.reference} takes over all the same: give name, role and reason."
        )
    if key_of(bridge.role) != key_of(rule.decides):
        raise RecordError(f"The rule names {rule.decides} to decide; got {bridge.role}.")
