"""Sessions with a plan on the record of a server, and what was written of them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from sensory.catalogue.tests import find_kind
from sensory.serving.lines import ballot_lines
from sensory.serving.planning import serving_plan
from sensory.sessions import booth_plans, exclusions, workflow
from sensory.sessions.allergens import served_samples

DEMO = Path(__file__).parents[2] / "demo_data"
BY = "A. Leader"


def put(store, name, *, cells=False, agreed=True, **question):
    """Id of a prepared session, with changes of its question."""
    prepared = workflow.read_prepared(DEMO, name)
    if not cells:
        del prepared["cells"]
    prepared["question"] = replace(prepared["question"], **question)
    here = workflow.new_session_id()
    workflow.open_session(store, here, **prepared, who="test", why="test")
    if agreed:
        workflow.agree(store, here, who=BY)
    return here


def serve(store, here, key, *, people=("Anna", "Bo", "Cleo"), language="en",
          allergens="sulphites", **arranged):  # fmt: skip
    """The plan of a session, its allergens declared, and the links of its booths."""
    plan = serving_plan(find_kind(key), list(people), seed=2**128 + 8, **arranged)
    lines = ballot_lines(plan)
    booth_plans.serve(store, here, plan, lines, language=language, who=BY)
    declared = dict.fromkeys(served_samples(store.session(here)), allergens)
    exclusions.declare_allergens(store, here, declared, who=BY)
    return plan, booth_plans.open_booths(store, here, who=BY)


def written(store, session_id, name):
    """What the journal says was written into one column, in order."""
    return [
        change["new"]
        for entry in store.entries(session_id)
        for change in entry.content.get("changes", [])
        if change["name"] == name
    ]
