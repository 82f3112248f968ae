"""Heavy work is done by another process, and comes back as it would have been made here."""

from __future__ import annotations

import os

import pytest

from sensory.catalogue.outcome_json import outcome_to_json
from sensory.screens import worker
from sensory.sessions import workflow
from sensory.sessions.outcomes import check_ballots, read_ballots_of

from .pages import DEMO


def test_work_is_done_elsewhere():
    assert worker._done(os.getpid) != os.getpid()


@pytest.mark.parametrize("name", ["suspect_batch", "pressing", "new_thickener"])
def test_an_outcome_comes_back_whole(name):
    prepared = workflow.read_prepared(DEMO, name)
    question = prepared["question"]
    checked = check_ballots(prepared["cells"], question)
    elsewhere = worker.outcome_of(checked, question)
    assert outcome_to_json(elsewhere) == outcome_to_json(read_ballots_of(checked, question))
