"""What the browser sends is checked cell by cell before it reaches the record."""

from __future__ import annotations

import pytest
import streamlit as st

from sensory.base.errors import Fault
from sensory.screens import grid

NAMES = ["assessor", "code_1"]


@pytest.fixture
def sent(monkeypatch):
    state = {}
    monkeypatch.setattr(st, "session_state", state)

    def _sent(changes, number="a"):
        state["g"] = {"typed": {"number": number, "changes": changes}}
        number, cells = grid.typed_cells("g", NAMES)
        if number:
            grid.received("g", number)
        return cells

    return _sent


def test_cells_arrive_stripped_and_once(sent):
    assert sent([["1", "assessor", " P01 "], ["2", "code_1", "412"]]) == {
        1: {"assessor": "P01"},
        2: {"code_1": "412"},
    }
    assert sent([["1", "assessor", "P01"]], "a") == {}
    assert sent([["1", "assessor", "P02"]], "b") == {1: {"assessor": "P02"}}


@pytest.mark.parametrize(
    "change",
    [
        ["5001", "assessor", "a line that no session has"],
        ["0", "assessor", "a line that no session has"],
        ["1", "closed_at", "a column that is not in the grid"],
        ["-1", "assessor", "x"],
        ["1", "assessor", 5],
        ["1", "assessor"],
        [1, "assessor", "x"],
        None,
        "1|assessor",
        {"line": 1},
    ],
)
def test_what_is_no_cell_of_the_grid_is_left_out(sent, change):
    assert sent([change]) == {}


def test_a_message_that_was_not_written_comes_again(monkeypatch):
    state = {"g": {"typed": {"number": "a", "changes": [["1", "assessor", "P01"]]}}}
    monkeypatch.setattr(st, "session_state", state)
    assert grid.typed_cells("g", NAMES) == grid.typed_cells("g", NAMES)
    grid.received("g", "a")
    assert grid.typed_cells("g", NAMES) == ("", {})


def test_control_characters_and_broken_ones_do_not_reach_the_record(sent):
    assert sent([["1", "assessor", "P\x000\u202e1\ud800"]]) == {1: {"assessor": "P01"}}


def test_a_long_text_is_cut(sent):
    assert len(sent([["1", "assessor", "x" * 5000]])[1]["assessor"]) == 300


@pytest.mark.parametrize("state", [None, {}, {"typed": None}, {"typed": 4}, 7])
def test_no_state_means_no_change(monkeypatch, state):
    monkeypatch.setattr(st, "session_state", {"g": state})
    assert grid.typed_cells("g", NAMES) == ("", {})


def test_notes_put_faults_before_remarks():
    def fault(rule, blocking):
        return Fault(sheet="", row=2, column="code_1", value="", rule=rule, problem=f"{rule}.",
                     advice="", blocking=blocking)  # fmt: skip

    assert grid._notes([fault("second", False), fault("first", True)]) == {
        "2": "code 1: first. (code 1: second.)"
    }
