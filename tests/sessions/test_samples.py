"""The reference is one of the samples on the ballots, when a question is agreed and closed."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sensory.base.errors import RecordError
from sensory.sessions import spellings, workflow
from sensory.sessions.samples import samples_on

from .shared import BY, DEMO, agreed


def renamed(cells, old, new):
    return {line: {"sample": new} for line, texts in cells.items() if texts.get("sample") == old}


@pytest.mark.parametrize("name", ["pressing", "gasket"])
def test_neither_is_agreed_with_a_reference_that_no_ballot_names(store, name):
    prepared = workflow.read_prepared(DEMO, name)
    key = "reference" if "reference" in prepared["question"].settings else "control"
    settings = {**prepared["question"].settings, key: "Referenz", "samples": ""}
    prepared["question"] = replace(prepared["question"], settings=settings)
    here = workflow.open_session(store, "s1", **prepared, who=BY, why="t").id
    there = ", ".join(samples_on(store.cells(here)))
    with pytest.raises(RecordError, match=f"'Referenz' is none of the samples.*{there}"):
        workflow.agree(store, here, who=BY)
    assert not store.session(here).agreed


def test_a_closing_names_the_samples_and_the_reference_can_be_told(store):
    here = agreed(store, "pressing", cells=True)
    workflow.enter_cells(store, here, renamed(store.cells(here), "reference", "Referenz"), who=BY)
    with pytest.raises(RecordError, match="none of the samples on the ballots: Referenz"):
        workflow.close(store, here, who=BY)
    assert not store.session(here).closed
    assert spellings.name_reference(store, here, "referenz", who=BY) == 20
    assert workflow.close(store, here, who=BY).closed
    with pytest.raises(RecordError, match="No ballot names"):
        spellings.name_reference(store, here, "Charge 9", who=BY)
