"""A candidate's series from the plan to the role, on a real record; and who is proposed again."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from scipy.stats import binom

from sensory.base.errors import ArgumentError, RecordError
from sensory.panel.assessors import Assessor, Role
from sensory.panel.attention import attention
from sensory.panel.history import history
from sensory.panel.qualification import (
    answer_series,
    begin_series,
    decide_role,
    end_series,
    keep_screening_rules,
    proposals,
    series_taken,
    the_screening_rules,
)
from sensory.panel.register import enter_assessor, the_register
from sensory.panel.screening_rules import ChoiceRule, Verdict
from sensory.panel.series import (
    Ending,
    PlannedSample,
    ScreeningRules,
    Series,
    TakenSeries,
)
from sensory.panel.series_plan import KINDS, cups_of, due, judged, luck, questions, rule_of
from sensory.sessions.session import CAUTIONS
from sensory.store.repository import open_store

from ..sessions.shared import BY
from .years import Fault, year

WHO = {"who": BY}
YES = tuple(caution.key for caution in CAUTIONS)


@pytest.fixture
def store(tmp_path):
    opened = open_store(f"sqlite:///{tmp_path}/record.sqlite3")
    yield opened
    opened.close()


@pytest.fixture
def ada(store) -> Assessor:
    return enter_assessor(store, "Ada Holm", panel="day shift", entered_on="2026-01-08", **WHO)


def begun(store, member, series=Series.TRIANGLES) -> TakenSeries:
    samples = KINDS[series].samples
    return begin_series(store, member, series, samples, cautions=YES, seed=7, **WHO)


def odd(cups) -> str:
    many = Counter(cup.sample for cup in cups)
    return next(cup.code for cup in cups if many[cup.sample] == 1)


def test_triangles_from_the_first_set_to_an_assessor(store, ada):
    taken = begun(store, ada)
    assert due(taken) == 6
    for many in range(1, 8):
        right = [odd(cups) for cups in taken.cups[:many]]
        taken = answer_series(store, taken, right, **WHO)
        shown = judged(taken)
        assert shown.verdict is (Verdict.PASS if many == 7 else Verdict.GO_ON)
    assert due(taken) == 7  # nothing is served after the line is reached
    assert end_series(store, taken, **WHO) is Ending.PASSED
    (kept,) = series_taken(store, ada)
    assert (kept.ending, kept.answers) == ("passed", taken.answers)
    with pytest.raises(RecordError, match="its answers stand"):
        answer_series(store, kept, [], **WHO)
    with pytest.raises(RecordError, match="recorded already"):
        end_series(store, kept, **WHO)
    new = decide_role(store, ada, "Day shift", Role.ASSESSOR, requalify_by="2099-11-28", **WHO)
    assert new.role_in("day shift") is Role.ASSESSOR
    assert new.requalify_by == "2099-11-28"
    assert [(d.before, d.role, d.decided_by) for d in new.decisions] == [
        (Role.CANDIDATE, Role.ASSESSOR, BY)
    ]
    assert the_register(store) == [new]
    assert store.verify() == []


def test_each_order_is_served_equally_often_and_no_code_comes_twice():
    cups = cups_of(Series.TRIANGLES, ScreeningRules(), KINDS[Series.TRIANGLES].samples, 3)
    orders = Counter(tuple(cup.sample for cup in each) for each in cups)
    assert len(orders) == 6
    assert set(orders.values()) == {10}
    codes = [cup.code for each in cups for cup in each]
    assert len(set(codes)) == len(codes) == 180


def test_the_risks_shown_are_those_of_all_paths():
    """Second route: every string of right and wrong answers, walked by the rule itself."""
    rules = ScreeningRules(unfit=0.4, fit=0.8, alpha=0.2, beta=0.2, most=9)
    rule = rule_of(Series.TRIANGLES, rules, KINDS[Series.TRIANGLES].samples)
    assert isinstance(rule, ChoiceRule)
    chance = dict.fromkeys((0.4, 0.8, 1 / 3), 0.0)
    for path in product((True, False), repeat=9):
        if rule.decide(path).verdict is Verdict.PASS:
            for p in chance:
                chance[p] += float(p ** sum(path) * (1 - p) ** (9 - sum(path)))
    assert rule.wrong_pass == pytest.approx(chance[0.4], rel=1e-10)
    assert 1 - rule.wrong_fail == pytest.approx(chance[0.8], rel=1e-10)
    assert rule.lucky_pass == pytest.approx(chance[1 / 3], rel=1e-10)
    assert luck(rule.wrong_pass, 3) == pytest.approx(1 - binom.pmf(0, 3, rule.wrong_pass))


def test_a_series_keeps_the_numbers_with_which_it_began(store, ada):
    taken = begun(store, ada)
    keep_screening_rules(store, ScreeningRules(fit=0.9, most=12), **WHO)
    assert the_screening_rules(store).most == 12
    (kept,) = series_taken(store, ada)
    assert kept == taken
    assert (kept.rules.fit, len(kept.cups)) == (0.65, 60)
    with pytest.raises(RecordError, match="open: end it before"):
        begun(store, ada)
    assert end_series(store, kept, give_up=True, **WHO) is Ending.GIVEN_UP
    assert len(begun(store, ada).cups) == 12


def test_what_is_not_answered_is_left_out_and_what_is_wrong_can_be_corrected(store, ada):
    taken = begun(store, ada)
    first, second, _, fourth = (odd(cups) for cups in taken.cups[:4])
    wrong = next(cup.code for cup in taken.cups[1] if cup.code != second)
    taken = answer_series(store, taken, [first, wrong, "", fourth], **WHO)
    with pytest.raises(RecordError, match=r"Set 3: \d+ is none of"):
        answer_series(store, taken, [first, second, first], **WHO)
    with pytest.raises(RecordError, match="not decided"):
        end_series(store, taken, **WHO)
    assert judged(taken).reason.startswith("2 of 3 triangle tests right")
    taken = answer_series(store, taken, [first, second], **WHO)
    assert judged(taken).reason.startswith("2 of 2 triangle tests right")
    assert due(taken) == 8


def right_answers(taken: TakenSeries) -> list[str]:
    (cups,) = taken.cups
    code = {cup.sample: cup.code for cup in cups}
    if taken.series is Series.ODOURS:
        return [cup.sample for cup in cups]
    return [code[each.name] for each in taken.samples]


@pytest.mark.parametrize("series", [Series.TASTES, Series.ODOURS, Series.STRENGTHS])
def test_the_other_series_are_judged_whole(store, ada, series):
    taken = begun(store, ada, series)
    right = right_answers(taken)
    assert len(questions(taken)) == len(right) == due(taken)
    assert judged(answer := replace(taken, answers=tuple(right[:-1]))) is None
    assert end_series(store, taken, give_up=True, **WHO) is Ending.GIVEN_UP
    again = begun(store, ada, series)
    again = answer_series(store, again, right, **WHO)
    assert judged(again).verdict is Verdict.PASS
    assert end_series(store, again, **WHO) is Ending.PASSED
    shifted = (*right[2:], *right[:2])
    assert judged(replace(answer, answers=shifted)).verdict is Verdict.FAIL
    with pytest.raises(RecordError, match="given twice"):
        answer_series(store, taken, [right[0], right[0]], **WHO)


def test_a_plan_that_cannot_be_served_is_refused(store, ada):
    def begins(series, *lines, cautions=YES):
        samples = [PlannedSample(name=name, made=made) for name, made in lines]
        return begin_series(store, ada, series, samples, cautions=cautions, **WHO)

    with pytest.raises(RecordError, match="takes two samples; got 1 sample"):
        begins(Series.TRIANGLES, ("water", "water"))
    with pytest.raises(RecordError, match="Say how bitter is made"):
        begins(Series.TRIANGLES, ("water", "water"), ("sour", "acid"), ("bitter", ""))
    three = [(name, "made") for name in "abc"]
    with pytest.raises(RecordError, match="the last odour gives itself away"):
        begins(Series.ODOURS, *three)
    with pytest.raises(RecordError, match="a name of its own"):
        begins(Series.STRENGTHS, *three, ("A", "made"))
    with pytest.raises(RecordError, match="Answer each caution with yes"):
        begins(Series.STRENGTHS, *three, cautions=YES[1:])
    with pytest.raises(ArgumentError, match="unfit must lie from guessing"):
        rule_of(Series.TRIANGLES, ScreeningRules(fit=0.4), KINDS[Series.TRIANGLES].samples)


def test_who_is_erased_is_erased_from_series_and_decisions(store, ada):
    begun(store, ada)
    decide_role(store, ada, "day shift", Role.TRAINING, who="Ada Holm")
    store.erase_person("Ada Holm", who=BY, why="asked for it")
    (gone,) = store.nouns(Assessor)
    assert gone.person == gone.decisions[0].decided_by == "erased 1"
    assert "Holm" not in str(series_taken(store, gone))
    with pytest.raises(RecordError, match="Only somebody who belongs to a panel"):
        begun(store, gone, Series.STRENGTHS)
    assert store.verify() == []


def test_retraining_is_proposed_from_the_history_with_the_day_of_the_next_screening(store):
    past = history(year(np.random.default_rng(3), fault=Fault(turned=True)))
    seen = attention(past)
    members = [
        enter_assessor(store, name, panel="day shift", role=Role.ASSESSOR, **WHO)
        for name in ("P10", "P01", "P02")
    ]
    dated = decide_role(store, members[1], "day shift", Role.EXPERT, requalify_by="2099-12-10",
                        **WHO)  # fmt: skip
    register = [members[0], dated, members[2]]
    first, second = proposals(register, seen, "2099-12-01")
    assert first.says() == (
        "P10: retraining proposed (reversed in sour); no day is set for the next screening."
    )
    assert second.says() == "P01: screen again by 2099-12-10."
    assert proposals(register, seen, "2099-12-11")[1].says() == (
        "P01: the next screening was due by 2099-12-10."
    )
    assert len(proposals(register, seen, "2099-10-01")) == 1
    left = decide_role(store, dated, "day shift", Role.LEFT, **WHO)
    assert left.requalify_by == ""
