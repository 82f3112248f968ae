"""Sessions at booths, from the agreed question to a ballot that is sent."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import sqlalchemy as sa

from sensory.catalogue.tests import find_kind
from sensory.choices.protocols import PROTOCOLS
from sensory.serving.lines import ballot_lines
from sensory.serving.planning import serving_plan
from sensory.sessions import booth_plans, booths, exclusions, workflow
from sensory.sessions.allergens import served_samples
from sensory.store.rows import columns_of
from sensory.store.tables import sessions

DEMO = Path(__file__).parents[2] / "demo_data"
BY = "A. Leader"


COLUMNS = ["session", "assessor", "replicate", "protocol", "order", "codes", "answer", "correct"]
COLUMNS += ["guess", "comment"]
PEOPLE = ("Anna", "Bo", "Cleo")
SAMPLES = {
    "RISING_SETS": ["blank", "0.5 µg/l"],
    "GRADING": ["blind control 1", "spiked 1", "SC-0311"],
    "SURENESS": ["A", "filtered"],
    "RANKING": ["sugar", "blend 1", "blend 2"],
    "PROFILE": ["reference", "new press", "old press, warm"],
    "DIFFERENCE_FROM_CONTROL": ["blind reference", "batch 118"],
    "TICKED_WORDS": ["reference", "new press", "old press, warm"],
}
DEMOS = {
    "SURENESS": "water",
    "RANKING": "aftertaste",
    "PROFILE": "pressing",
    "DIFFERENCE_FROM_CONTROL": "gasket",
    "A_NOT_A": "shop_light",
    "SAME_DIFFERENT": "new_thickener",
    "TICKED_WORDS": "words",
    "GRADING": "line_grading",
    "RISING_SETS": "taint",
}


def agreed(store, name, *, cells=False, **question):
    """The id of an agreed session of the demonstration, its question changed."""
    prepared = workflow.read_prepared(DEMO, name)
    if not cells:
        del prepared["cells"]
    prepared["question"] = replace(prepared["question"], **question)
    session_id = workflow.new_session_id()
    workflow.open_session(store, session_id, **prepared, who="test", why="test")
    workflow.agree(store, session_id, who=BY)
    return session_id


def newer(store, session_id, count, *, day="2999-01-01"):
    """So many copies of a session that were opened later, without ballots and journal."""
    like = store.session(session_id)
    like = replace(like, created_at=f"{day}T08:00", details=replace(like.details, held_on=day))
    rows = [columns_of(replace(like, id=f"n{at:031x}", serving=None)) for at in range(count)]
    with store._engine.begin() as connection:
        connection.execute(sa.insert(sessions), rows)


def planned(
    store,
    key="TRIANGLE",
    people=PEOPLE,
    *,
    seed=2**128 + 5,
    samples=None,
    settings=None,
    allergens="sulphites",
    minutes=0,
    vocabulary=None,
    **arranged,
):
    """The id of an agreed session with its plan on record, and the plan."""
    question = {"protocol": key, "attribute": "sourness"} if key in PROTOCOLS else {}
    question |= {} if vocabulary is None else {"vocabulary": vocabulary}
    question |= {} if settings is None else {"settings": settings}
    session_id = agreed(store, DEMOS.get(key, "suspect_batch"), **question)
    samples = samples or SAMPLES.get(key)
    plan = serving_plan(find_kind(key), list(people), seed=seed, samples=samples, **arranged)
    booth_plans.serve(store, session_id, plan, ballot_lines(plan), break_minutes=minutes, who=BY)
    declare(store, session_id, allergens)
    return session_id, plan


def declare(store, session_id, allergens):
    """Declare the same of every served sample."""
    served = served_samples(store.session(session_id))
    exclusions.declare_allergens(store, session_id, dict.fromkeys(served, allergens), who=BY)


def at_booths(store, key="TRIANGLE", people=PEOPLE, **arranged):
    """The same with the link of each assessor."""
    session_id, plan = planned(store, key, people, **arranged)
    return session_id, plan, booth_plans.open_booths(store, session_id, who=BY)


def seat(store, key="TRIANGLE", name="Anna", **arranged):
    """The id of a session and the link of an assessor who has consented."""
    session_id, _, tokens = at_booths(store, key, **arranged)
    booths.consent(store, tokens[name])
    return session_id, tokens[name]


def waiting(store, token):
    """The ballot that waits."""
    return booths.visit(store, token).ballot


def answer(asked, place):
    stored = [choice for choice, _ in asked.choices]
    if asked.kind == "place":
        return str(place)
    return (asked.between or " ").join(stored[: 2 if asked.between else 1]) or "4.50"


def fill(store, token, ballot):
    """Answer everything that a ballot asks."""
    given = {}
    for place, asked in enumerate(ballot.asked, start=1):
        given.setdefault(asked.line, {})[asked.name] = answer(asked, place)
    booths.keep(store, token, ballot.line, given)


def answered(store, token):
    """Answer and send the ballot that waits; its codes."""
    ballot = waiting(store, token)
    fill(store, token, ballot)
    booths.send(store, token, ballot.line, shown={})
    return list(ballot.codes)


def finish(store, token):
    """Answer and send all that waits at a booth."""
    if not booths.visit(store, token).consented:
        booths.consent(store, token)
    while waiting(store, token) is not None:
        answered(store, token)


def lines_of(store, session_id, name="Bo"):
    """The ballot lines of an assessor."""
    return {n: t for n, t in store.cells(session_id).items() if t.get("assessor") == name}


def answers_written(store, session_id):
    """What the journal says was answered on each line, in its order, and the lines sent."""
    written: dict[int, list[str]] = {}
    sent: list[int] = []
    for entry in store.entries(session_id):
        for change in entry.content.get("changes", []):
            if change["name"] == "answer":
                written.setdefault(change["line"], []).append(change["new"])
            elif change["name"] == "sent":
                sent.append(change["line"])
    return written, sent
