"""Results of the public statistics as outcomes."""

from __future__ import annotations

from functools import singledispatch

from ..base.errors import ArgumentError
from ..choices.forced_choice import ChoiceTest
from ..choices.session_finding import SessionFinding
from ..ratings.control import DifferenceFromControl
from ..ratings.profile import Profile
from .choices_read import outcome_of_choices, outcome_of_test
from .controlled_read import outcome_of_control
from .outcome import Outcome
from .rated_read import outcome_of_profile


@singledispatch
def outcome_of(result: object) -> Outcome:
    """A result as an outcome; an outcome as it is.

    Raises ArgumentError for anything but a choice test of one session, a session finding, a
    difference from control, a profile with a reference, or an outcome.

    >>> from sensory.choices.forced_choice import choice_test
    >>> from sensory.choices.protocols import TRIANGLE
    >>> outcome_of(choice_test(TRIANGLE, 22, 66)).line()
    'Similar, 22 of 66 correct'
    """
    raise ArgumentError(
        "results must be choice tests, session findings, differences from control or profiles; "
        f"got {type(result).__name__}."
    )


@outcome_of.register
def _(result: Outcome) -> Outcome:
    return result


outcome_of.register(ChoiceTest, outcome_of_test)
outcome_of.register(SessionFinding, outcome_of_choices)
outcome_of.register(DifferenceFromControl, outcome_of_control)
outcome_of.register(Profile, outcome_of_profile)
