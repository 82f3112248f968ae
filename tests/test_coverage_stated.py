"""Every public result with limits says how often they hold the truth, and where it was measured."""

import inspect
import re
from pathlib import Path
from typing import get_type_hints

import pytest

import sensory
from sensory.base.results import Interval
from sensory.panel.months import own_dprime
from sensory.ratings.scorecard import PanelScorecard

MEASURED = re.compile(r"\b(?:0\.[5-9]\d+|\d{2}(?:\.\d)? %|\d+ (?:in|of) \d+|in \d{2,3}\b)")
CALIBRATION = Path(__file__).parent / "calibration"
WITHOUT_A_LEVEL = (sensory.profile, PanelScorecard.intraclass, own_dprime)


def gives_limits(function):
    """Whether somebody chooses the level of its limits, or its result has an `Interval`."""
    if "level" in inspect.signature(function).parameters:
        return True
    result = inspect.unwrap(function).__annotations__.get("return")
    of_module = vars(inspect.getmodule(function)).get(str(result))
    return inspect.isclass(of_module) and Interval in get_type_hints(of_module).values()


def public_functions():
    every = (getattr(sensory, name) for name in sensory.__all__)
    return [each for each in every if inspect.isfunction(each)]


GIVING = [*filter(gives_limits, public_functions()), *WITHOUT_A_LEVEL]


def test_the_walk_meets_results_of_every_floor():
    names = {function.__name__ for function in GIVING}
    assert names >= {"choice_test", "replicated_choice_test", "estimate_dprime", "trend",
                     "difference_from_control", "combine_evidence", "steadiness"}  # fmt: skip


@pytest.mark.parametrize("function", GIVING, ids=lambda function: function.__qualname__)
def test_limits_say_how_often_they_hold_the_truth(function):
    text = " ".join(inspect.getdoc(function).split())
    assert re.search(r"\b(?:[Cc]overage|holds?|held)\b", text)
    assert MEASURED.search(text)
    named = re.findall(r"tests/calibration/(\w+\.py)", text)
    assert named
    assert all((CALIBRATION / name).is_file() for name in named)
