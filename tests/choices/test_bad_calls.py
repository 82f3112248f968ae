"""Bad calls and the sentence each of them gets."""

import re

import numpy as np
import pytest

from sensory.base.errors import ArgumentError, SensoryError
from sensory.choices.counts import critical_counts, similar_counts
from sensory.choices.forced_choice import choice_test
from sensory.choices.protocols import DUO_TRIO, PAIRED, TRIANGLE, find_protocol
from sensory.choices.risks import session_risks

NAN, INF = float("nan"), float("inf")


def call(function, *args, message, **options):
    shown = ", ".join([*(str(a) for a in args), *(f"{k}={v}" for k, v in options.items())])
    return pytest.param(function, args, options, message, id=f"{function.__name__}({shown})")


BAD_CALLS = [
    call(choice_test, TRIANGLE, NAN, 24, message="correct must be finite; got nan."),
    call(choice_test, TRIANGLE, [5, NAN], 24, message="correct must be finite; got nan."),
    call(choice_test, TRIANGLE, 5, INF, message="trials must be finite; got inf."),
    call(choice_test, TRIANGLE, -1, 24, message="correct must be at least 0; got -1."),
    call(choice_test, TRIANGLE, 5, -24, message="trials must be at least 1; got -24."),
    call(choice_test, TRIANGLE, 0, 0, message="trials must be at least 1; got 0."),
    call(choice_test, TRIANGLE, 5.5, 24, message="correct must be whole numbers; got 5.5."),
    call(choice_test, TRIANGLE, 5, 24.5, message="trials must be whole numbers; got 24.5."),
    call(
        choice_test,
        TRIANGLE,
        24,
        14,
        message="correct must not exceed trials; got 24 correct of 14.",
    ),
    call(
        choice_test,
        TRIANGLE,
        [5, 30],
        [24, 29],
        message="correct must not exceed trials; got 30 correct of 29.",
    ),
    call(choice_test, TRIANGLE, 5, 10**8, message="trials must be at most 10,000,000; got 1e+08."),
    call(choice_test, TRIANGLE, [], [], message="correct is empty; give at least one number."),
    call(choice_test, TRIANGLE, 5, [], message="trials is empty; give at least one number."),
    call(
        choice_test,
        TRIANGLE,
        [5, 6],
        [24, 24, 24],
        message="correct has shape (2,) and trials (3,); give them the same shape",
    ),
    call(
        choice_test,
        TRIANGLE,
        [[1], [1, 2]],
        24,
        message="correct must be a number or an array of numbers; got [[1], [1, 2]].",
    ),
    call(
        choice_test,
        TRIANGLE,
        True,
        24,
        message="correct must be a number or an array of numbers; got True.",
    ),
    call(
        choice_test,
        TRIANGLE,
        np.array([True, False]),
        24,
        message="correct must be a number or an array of numbers; got array([ True, False]).",
    ),
    call(
        choice_test,
        TRIANGLE,
        "5",
        24,
        message="correct must be a number or an array of numbers; got '5'.",
    ),
    call(
        choice_test,
        TRIANGLE,
        ["5", "6"],
        24,
        message="correct must be a number or an array of numbers; got ['5', '6'].",
    ),
    call(
        choice_test,
        TRIANGLE,
        None,
        24,
        message="correct must be a number or an array of numbers; got None.",
    ),
    call(
        choice_test,
        TRIANGLE,
        5,
        24 + 0j,
        message="trials must be a number or an array of numbers; got (24+0j).",
    ),
    call(
        choice_test,
        TRIANGLE,
        5,
        24,
        alpha=0,
        message="alpha must lie strictly between 0 and 1; got 0.",
    ),
    call(
        choice_test,
        TRIANGLE,
        5,
        24,
        alpha=1.0,
        message="alpha must lie strictly between 0 and 1; got 1.",
    ),
    call(
        choice_test,
        TRIANGLE,
        5,
        24,
        alpha=5,
        message="alpha must lie strictly between 0 and 1; got 5. For 5 % write 0.05.",
    ),
    call(
        choice_test,
        TRIANGLE,
        5,
        24,
        alpha="x",
        message="alpha must be a number between 0 and 1; got 'x'.",
    ),
    call(choice_test, TRIANGLE, 5, 24, alpha=NAN, message="alpha must be finite; got nan."),
    call(choice_test, TRIANGLE, 5, 24, alpha=None, message="alpha must be a number"),
    call(
        choice_test,
        TRIANGLE,
        5,
        24,
        alpha=[0.05, 0.1],
        message="alpha must be one number, got 2 of them.",
    ),
    call(
        choice_test,
        TRIANGLE,
        5,
        24,
        beta=True,
        message="beta must be a number between 0 and 1; got True.",
    ),
    call(
        choice_test,
        TRIANGLE,
        5,
        24,
        beta=-0.05,
        message="beta must lie strictly between 0 and 1; got -0.05.",
    ),
    call(
        choice_test,
        TRIANGLE,
        5,
        24,
        pd_limit=30,
        message="pd_limit must lie strictly between 0 and 1; got 30. For 30 % write 0.3.",
    ),
    call(
        choice_test,
        TRIANGLE,
        5,
        24,
        pd_limit=0,
        message="pd_limit must lie strictly between 0 and 1; got 0.",
    ),
    call(
        choice_test,
        TRIANGLE,
        5,
        24,
        two_sided=True,
        message="two_sided is not possible for a triangle test",
    ),
    call(
        choice_test,
        "triangle",
        5,
        24,
        message="protocol must be one of the protocols, such as TRIANGLE; got 'triangle'.",
    ),
    call(
        choice_test,
        14,
        TRIANGLE,
        24,
        message="protocol must be one of the protocols, such as TRIANGLE; got 14.",
    ),
    call(
        critical_counts,
        "TRIANGLE",
        24,
        message="protocol must be one of the protocols, such as TRIANGLE; got 'TRIANGLE'.",
    ),
    call(critical_counts, TRIANGLE, 0, message="trials must be at least 1; got 0."),
    call(critical_counts, TRIANGLE, [], message="trials is empty; give at least one number."),
    call(
        critical_counts,
        TRIANGLE,
        [24, 30],
        [0.1, 0.05, 0.01],
        message="trials has shape (2,) and alpha (3,); give them the same shape",
    ),
    call(
        critical_counts,
        TRIANGLE,
        24,
        [0.05, 1.5],
        message="alpha must lie strictly between 0 and 1; got 1.5.",
    ),
    call(critical_counts, TRIANGLE, 24, [], message="alpha is empty; give at least one number."),
    call(
        critical_counts,
        DUO_TRIO,
        24,
        two_sided=True,
        message="two_sided is not possible for a duo-trio test",
    ),
    call(
        similar_counts,
        TRIANGLE,
        24,
        0.05,
        [0.2, 0.3],
        message="pd_limit must be one number, got 2 of them.",
    ),
    call(
        similar_counts,
        TRIANGLE,
        24,
        "5 %",
        message="beta must be a number between 0 and 1; got '5 %'.",
    ),
    call(similar_counts, TRIANGLE, 24.5, message="trials must be whole numbers; got 24.5."),
    call(session_risks, TRIANGLE, [10, 20], message="trials must be one number, got 2 of them."),
    call(session_risks, TRIANGLE, NAN, message="trials must be finite; got nan."),
    call(
        session_risks,
        TRIANGLE,
        24,
        alpha=[0.05, 0.1],
        message="alpha must be one number, got 2 of them.",
    ),
    call(
        session_risks,
        TRIANGLE,
        24,
        beta=[0.05, 0.1],
        message="beta must be one number, got 2 of them.",
    ),
    call(session_risks, TRIANGLE, 24, pd_limit=NAN, message="pd_limit must be finite; got nan."),
    call(
        session_risks,
        TRIANGLE,
        24,
        two_sided=True,
        message="two_sided is not possible for a triangle test",
    ),
    call(session_risks, None, 24, message="protocol must be one of the protocols"),
    call(
        find_protocol,
        "square",
        message="protocol 'square' is not known; possible are TRIANGLE, DUO_TRIO, PAIRED",
    ),
    call(find_protocol, "", message="protocol '' is not known"),
    call(find_protocol, None, message="protocol must be a name; got None."),
    call(
        PAIRED.right_answers,
        "AAB",
        message="order 'AAB' is no order of a paired comparison test; possible are AB, BA.",
    ),
    call(TRIANGLE.right_answers, None, message="order None is no order of a triangle test"),
    call(PAIRED.right_answers, "AB", "C", message="target"),
]


@pytest.mark.parametrize(("function", "args", "options", "message"), BAD_CALLS)
def test_bad_call_gets_its_sentence(function, args, options, message):
    with pytest.raises(ArgumentError, match=re.escape(message)):
        function(*args, **options)


def test_one_family_of_errors():
    assert issubclass(ArgumentError, SensoryError)
    assert issubclass(SensoryError, ValueError)


def test_counts_hidden_under_a_mask_are_not_counted():
    hidden = np.ma.masked_array([5, 14], mask=[False, True])
    with pytest.raises(ArgumentError, match="correct"):
        choice_test(TRIANGLE, hidden, 24)
