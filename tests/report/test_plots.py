"""Every result has a picture that is a valid chart with its numbers, and a table."""

from __future__ import annotations

import dataclasses
import json
import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from altair.vegalite.schema import load_schema
from jsonschema import Draft7Validator

import sensory
from sensory import (
    a_not_a,
    a_not_a_by_assessor,
    assessor_drift,
    check_graders,
    choice_test,
    combine_evidence,
    compare_recipes,
    detection_threshold,
    difference_from_control,
    estimate_dprime,
    explain_batches,
    grader_months,
    grading_rule,
    limit_from_consumers,
    limit_from_history,
    panel_plan,
    panel_scorecard,
    panel_size,
    profile,
    profile_plan,
    ranking_test,
    replicate_gain,
    replicated_choice_test,
    retest_risk,
    same_different,
    sample_map,
    sequential_plan,
    serving_plan,
    session_finding,
    session_risks,
    spiked_samples,
    sureness_by_assessor,
    sureness_test,
    trend,
    trend_of_choices,
    two_stage_plan,
)
from sensory.base.errors import ArgumentError
from sensory.base.shown import Picture, Shown
from sensory.evidence.ring_test import ring_test
from sensory.panel.attention import attention
from sensory.panel.history import history
from sensory.panel.months import reproducibility
from sensory.panel.sensitivity import sensitivity
from sensory.panel.steadiness import steadiness
from sensory.panel.training import training_progress
from sensory.ratings.ticked import ticked_words
from sensory.report.plots import _PICTURES
from sensory.sessions.sitting import Sitting
from sensory.sessions.trained import TrainedSample, TrainingSitting

from ..panel.years import Fault, year

SCHEMA = Draft7Validator(load_schema())
DEMO = Path(__file__).parents[2] / "demo_data"


def scores() -> pd.DataFrame:
    wide = pd.read_csv(DEMO / "pressing.csv")
    names = ["assessor", "sample", "replicate"]
    return wide.melt(names, var_name="attribute", value_name="score")


def drifting() -> pd.DataFrame:
    rng = np.random.default_rng(5)
    rows = [
        (session, person, sample, 5 + (person == "Ada") * 0.6 * session + rng.normal(0, 0.2))
        for session in range(1, 7)
        for person in ("Ada", "Ben", "Cleo", "Dora")
        for sample in ("lime", "plum")
    ]
    frame = pd.DataFrame(rows, columns=["session", "assessor", "sample", "score"])
    return frame.assign(attribute="sour")


def controlled() -> pd.DataFrame:
    rng = np.random.default_rng(3)
    rows = [
        (person, sample, 1 + 2 * (sample == "L2") + rng.normal(0, 0.5))
        for person in "ABCDEFGH"
        for sample in ("control", "L1", "L2")
    ]
    return pd.DataFrame(rows, columns=["assessor", "sample", "score"])


def ranked() -> pd.DataFrame:
    orders = ([1, 2, 3], [1, 3, 2], [2, 1, 3], [1, 2, 3], [1, 2, 3], [3, 1, 2])
    rows = [
        (f"P{person}", sample, rank)
        for person, ranks in enumerate(orders)
        for sample, rank in zip(("lime", "pear", "plum"), ranks, strict=True)
    ]
    return pd.DataFrame(rows, columns=["assessor", "sample", "rank"])


def spiked() -> pd.DataFrame:
    rows = [("Ada", True, True)] * 5 + [("Ada", False, False)] * 4 + [("Ben", True, False)] * 3
    rows += [("Ben", False, True)] * 2
    return pd.DataFrame(rows, columns=["assessor", "spiked", "found"])


def batches() -> pd.DataFrame:
    rng = np.random.default_rng(2)
    names = [f"L{number}" for number in range(1, 13)]
    days = pd.date_range("2026-01-05", periods=12, freq="7D").astype(str)
    return pd.DataFrame(
        {"batch": names, "date": days, "estimate": rng.normal(0, 0.3, 12), "se": 0.2}
    )


def screened():
    rules = {"triangles": sensory.choice_rule(), "matching": sensory.matching_rule(5, offered=8)}
    people = {
        "Ada": {"triangles": [True] * 9, "matching": 4},
        "Ben": {"triangles": [True, False, True], "matching": 5},
        "Cleo": {"matching": 2},
    }
    return sensory.screening(rules, people)


def counts_of_batches() -> pd.DataFrame:
    correct = [8, 9, 7, 10, 8, 9, 8, 7, 16, 17, 15, 16]
    return pd.DataFrame({"batch": [f"L{at}" for at in range(12)], "correct": correct, "trials": 24})


def rule():
    return sensory.ReleaseRule(test="TRIANGLE", assessors=24, limit=0.4)


def reference():
    step = sensory.Bridge(
        reference="R2", to="R1", held_on="2026-03-01", finding="SIMILAR", estimate=0.3, se=0.1
    )
    second = sensory.Reference(
        name="R2",
        product="Pear cordial",
        kind="FRESHLY_MADE",
        made_on="2026-02-25",
        usable_until="2026-06-01",
        bridged_to_previous=step,
        bridged_to_first=step,
    )
    return sensory.reference_state(second, "2026-05-01", limit=0.6)


def ring_results() -> pd.DataFrame:
    rng = np.random.default_rng(6)
    rows = [(p, s, rng.normal(5, 1)) for p in "NSEW" for s in ("A", "B") for _ in range(3)]
    return pd.DataFrame(rows, columns=["panel", "sample", "result"])


def a_year():
    return year(np.random.default_rng(4), 6, Fault(turned=True))


def consumers() -> pd.DataFrame:
    """Twenty consumers on three samples; more reject what is farther."""
    rejects = ["aaa", "aar", "arr", "aar", "rar"] * 4
    return pd.DataFrame(
        {"consumer": f"K{who}", "sample": f"S{at}", "distance": float(at),
         "answer": "reject" if answer == "r" else "accept"}
        for who, answers in enumerate(rejects)
        for at, answer in enumerate(answers)
    )  # fmt: skip


MADE = {
    "reference": reference,
    "choice": lambda: choice_test("triangle", 18, 24),
    "finding": lambda: session_finding("triangle", 22, 66),
    "replicated": lambda: replicated_choice_test("triangle", [1, 2, 0, 2, 1, 1, 2, 0], 2),
    "gain": lambda: replicate_gain("triangle", assessors=12, replicates=2, pd=0.3, spread=0.3),
    "dprime": lambda: estimate_dprime("triangle", [12, 18], 24),
    "a not a": lambda: a_not_a(9, 12, 4, 12),
    "by assessor": lambda: a_not_a_by_assessor(
        [[1, 1, 0, 1]] * 4 + [[0, 1, 1, 1]] + [[1, 1, 1, 1]] * 2
    ),
    "same different": lambda: same_different(30, 40, 18, 40),
    "sureness": lambda: sureness_test([[20, 12, 6, 2], [6, 9, 13, 12]]),
    "sureness by assessor": lambda: sureness_by_assessor(
        [[[2, 1, 0], [0, 2, 1]], [[1, 2, 0], [1, 0, 2]], [[3, 0, 0], [1, 2, 0]]]
    ),
    "plan": lambda: panel_plan("triangle", 24),
    "risks": lambda: session_risks("triangle", 24),
    "size": lambda: panel_size("triangle", pd=0.3),
    "two-sided size": lambda: panel_size("paired comparison", pd=0.3, two_sided=True),
    "two stages": lambda: two_stage_plan("triangle", most=60, pd_limit=0.4),
    "sequential": lambda: sequential_plan("duo-trio", alpha=0.1, beta=0.1, pd_limit=0.4, most=60),
    "retests": lambda: retest_risk("triangle", 12, tries=3, pd=0.3),
    "profile": lambda: profile(scores(), reference="reference", margins=1.0),
    "scorecard": lambda: panel_scorecard(scores()),
    "profile plan": lambda: profile_plan(profile(scores(), reference="reference"), margins=1.0),
    "control": lambda: difference_from_control(controlled(), control="control", limit=1.5),
    "ranking": lambda: ranking_test(ranked()),
    "map": lambda: sample_map(scores(), draws=200),
    "drift": lambda: assessor_drift(drifting()),
    "spikes": lambda: spiked_samples(spiked()),
    "screening": screened,
    "serving": lambda: serving_plan("triangle", 6, seed=7),
    "trend": lambda: trend(batches(), limit=1.0),
    "numbered trend": lambda: trend(batches().drop(columns="date"), limit=1.0),
    "trend of choices": lambda: trend_of_choices(
        counts_of_batches(), protocol="triangle", pd_limit=0.4
    ),
    "history": lambda: history(a_year()),
    "sensitivity": lambda: sensitivity(history(a_year()).answers),
    "steadiness": lambda: steadiness(history(a_year())),
    "attention": lambda: attention(history(a_year())),
    "reproducibility": lambda: reproducibility(history(a_year(), until="2026-02-28")),
    "combined": lambda: combine_evidence(
        [choice_test("triangle", 14, 30), choice_test("tetrad", [15, 12], 24)], dprime_limit=2
    ),
    "lots": lambda: sensory.compare_lots(
        pd.DataFrame({"present": ["P1", "P2"], "new": ["N1", "N2"], "protocol": "tetrad"}).assign(
            correct=[9, 8], trials=12
        ),
        dprime_limit=1.0,
    ),
    "lots planned": lambda: sensory.plan_lots(
        "tetrad", dprime_limit=1.5, lot_sd=0.2, assessors=[12], lots=[2, 3]
    ),
    "looks": lambda: sensory.planned_looks("triangle", [12, 12]),
    "consumer limit": lambda: limit_from_consumers(consumers(), share=0.3),
    "history limit": lambda: limit_from_history(batches(), limits=[0.5, 1.0], scatter=1.0),
    "threshold": lambda: detection_threshold(ascending_answers(), unit="ug/l"),
    "graders": lambda: check_graders(
        pd.DataFrame({"grader": "A", "sample": range(4), "truth": ["in", "out"] * 2}).assign(
            grade=["in", "out", "out", "out"]
        )
    ),
    "grader months": lambda: grader_months(
        [
            Sitting(
                session="g",
                held_on="2026-03-01",
                test="GRADING",
                assessors=("A",),
                came=("came",),
                hits=(3,),
                spiked=(4,),
                false_alarms=(1,),
                controls=(4,),
            )
        ]
    ),
    "votes": lambda: grading_rule([0.9, 0.9, 0.8], [0.1, 0.05, 0.1]),
    "recipes": lambda: compare_recipes(
        lots_of_two_recipes(), {"P1": "old", "P2": "old", "N1": "new"}, reference="old", margins=1
    ),
    "shelf life": lambda: sensory.shelf_life_from_choices(
        pd.DataFrame(
            {"time": [30, 60, 90], "protocol": "triangle", "correct": [9, 13, 24], "trials": 24}
        ),
        safety_date="2027-06-30",
        start="2026-11-28",
        dprime_limit=1.5,
    ),
    "trial": lambda: sensory.storage_plan(
        "reversed", safety_date="2027-06-30", start="2026-11-28", expected_days=60, assessors=8
    ),
    "causes": lambda: explain_batches(batches().assign(lot=["L1"] * 6 + ["L2"] * 6)),
    "ring": lambda: ring_test(ring_results()),
    "rule": lambda: rule().characteristic(np.linspace(0, 1, 21)),
    "training_progress": lambda: training_progress([trained(day) for day in (1, 2, 3)]),
    "ticked_words": lambda: ticked_words(
        pd.DataFrame(
            {"assessor": list("aabbccddee"), "sample": ["x", "y"] * 5, "jammy": [1, 0] * 5}
        )
    ),
}


def lots_of_two_recipes():
    return pd.DataFrame(
        {
            "assessor": person,
            "sample": lot,
            "attribute": "sour",
            "score": 5 + (place * 7 + seat) % 5,
        }
        for seat, person in enumerate("ABCD")
        for place, lot in enumerate(("P1", "P2", "N1"))
    )


def trained(day):
    scores = ((5.0, 5.2), (4.6, 5.1), (5.9, 4.4))
    sample = TrainedSample(sample="base", attribute="sour", scores=scores, target=5, low=4, high=6)
    return TrainingSitting(
        session=f"s{day}", held_on=f"2026-11-0{day}", product="sloe cordial", scale=(0.0, 10.0),
        assessors=("A", "B", "C"), samples=(sample,),
    )  # fmt: skip


def ascending_answers():
    rights = {"A": "-+-+++", "B": "--+-++", "C": "+--+++", "D": "-+++++", "E": "---+-+"}
    return pd.DataFrame(
        {"assessor": name, "concentration": 2.0**step, "correct": right == "+"}
        for name, row in rights.items()
        for step, right in enumerate(row)
    )


@pytest.fixture(scope="module")
def made():
    return {name: make() for name, make in MADE.items()}


@pytest.fixture(scope="module")
def drawn(made):
    """Every picture of every result; those that a result cannot draw raise."""
    return {
        (name, kind): result.plot(kind) for name, result in made.items() for kind in result.pictures
    }


def rows_of(picture: Picture) -> list[dict]:
    return [row for rows in picture.spec["datasets"].values() for row in rows]


def numbers_in(picture: Picture) -> list[float]:
    values = [value for row in rows_of(picture) for value in row.values()]
    return [value for value in values if isinstance(value, (int, float))]


def held(picture: Picture, *numbers: float) -> bool:
    there = np.array(numbers_in(picture), float)
    return all(np.isclose(there, number, rtol=1e-12).any() for number in numbers)


def test_every_result_with_pictures_is_drawn_here(made):
    kinds = {kind for result in made.values() for kind in type(result).__mro__}
    without = {kind.__name__ for kind in _PICTURES if kind not in kinds}
    assert without == set()


def test_every_picture_follows_the_schema(drawn):
    assert len(drawn) > 40
    for picture in drawn.values():
        chart = picture.spec
        rows = {name: rows[:1] for name, rows in chart["datasets"].items()}
        SCHEMA.validate(chart | {"datasets": rows})
        assert chart["background"] == "white"
        assert chart.get("width") != "container"


def test_every_table_has_one_spelling_of_its_columns(made):
    from tests.test_architecture import OURS

    for name, result in made.items():
        columns = list(result.table().columns)
        assert columns, name
        assert not {column for column in columns if not re.fullmatch(r"[a-z][a-z0-9_]*", column)}
        assert not set(columns) & set(OURS), name


def test_every_repr_is_short(made):
    assert {
        name: len(repr(result)) for name, result in made.items() if len(repr(result)) > 170
    } == {}
    assert repr(made["retests"]).startswith("<RetestRisk: trials 12, tries 3, pd 0.3, ")


def test_the_public_results_can_all_be_shown(made):
    results = {
        value
        for value in (getattr(sensory, name) for name in sensory.__all__ if name[0].isupper())
        if dataclasses.is_dataclass(value) and "Result of" in (value.__doc__ or "")
    }
    assert {kind.__name__ for kind in results if not issubclass(kind, Shown)} == set()


def test_a_shelf_life_shows_its_points_its_limit_and_its_dates(made, drawn):
    life, picture = made["shelf life"], drawn["shelf life", "shelf life"]
    assert held(picture, life.low, life.estimate, life.at, *life.points["estimate"][:2])
    words = " ".join(str(row.get("text")) for row in rows_of(picture))
    assert "shown until" in words
    assert "agreed limit 1.5" in words


def test_a_choice_test_shows_its_limits(made, drawn):
    test, picture = made["choice"], drawn["choice", "limits"]
    ends = (test.pc, test.pc_limits.low, test.pc_limits.high, test.pc_upper, test.pc_at_limit)
    assert held(picture, *map(float, ends))
    rows = made["choice"].table().set_index("quantity")
    assert rows.loc["d-prime", "high"] == test.dprime_limits.high
    assert set(rows["finding"]) == {"BEYOND_LIMIT"}


def test_the_characteristic_is_the_exact_one(drawn):
    picture = drawn["choice", "operating characteristic"]
    chances = {
        row["what"]: row["chance"]
        for row in rows_of(picture)
        if row.get("truth") == 0.0 and "what" in row
    }
    risks = session_risks("triangle", 24)
    assert chances["similar"] == pytest.approx(risks.fair_pass, abs=1e-3)
    assert sum(chances.values()) == pytest.approx(1)


def test_power_of_a_size_is_power_at_each_truth(made, drawn):
    for name in ("size", "two-sided size"):
        size = made[name]
        rows = {row["truth"]: row["chance"] for row in rows_of(drawn[name, "power"])}
        for truth in (0.0, 0.3, 1.0):
            expected = sensory.power(
                size.protocol, size.assessors, alpha=0.05, pd=truth, two_sided=size.two_sided
            )
            assert rows[truth] == pytest.approx(float(expected), rel=1e-10)


@pytest.mark.parametrize("kind", ["means", "lines", "spider"])
def test_a_profile_shows_its_means_with_limits(made, drawn, kind):
    means = made["profile"].means
    rows = [row for row in rows_of(drawn["profile", kind]) if "low" in row]
    shown = {
        (row["attribute"], row["sample"]): (row["mean"], row["low"], row["high"]) for row in rows
    }
    assert shown == {
        (row["attribute"], row["sample"]): (row["estimate"], row["low"], row["high"])
        for row in means.to_dict("records")
    }


def test_a_spider_has_its_corners_at_the_means(drawn):
    rows = rows_of(drawn["profile", "spider"])
    rings = sorted(float(row["text"]) for row in rows if row.get("x") == 0.02)
    for row in (row for row in rows if "x low" in row):
        reach = np.hypot(row["x"], row["y"])
        assert rings[0] + reach * (rings[-1] - rings[0]) == pytest.approx(row["mean"])
        low = np.hypot(row["x low"], row["y low"])
        assert rings[0] + low * (rings[-1] - rings[0]) == pytest.approx(row["low"])


def test_differences_stand_beside_their_margins(made, drawn):
    picture, compared = drawn["profile", "differences"], made["profile"].against_reference
    assert held(picture, *compared["estimate"], *compared["low"], *compared["high"], 1.0, -1.0)


def test_scores_come_as_they_are(made, drawn):
    scores_there = sorted(made["profile"].scores.rows["score"])
    shown = rows_of(drawn["profile", "scale use"])
    assert sorted(row["score"] for row in shown) == scores_there
    pairs = [row for row in rows_of(drawn["scorecard", "repeats"]) if "assessor" in row]
    first = {
        (row["assessor"], row["sample"], row["attribute"]): (row["first"], row["second"])
        for row in pairs
    }
    wide = made["profile"].scores.rows.pivot_table(
        index=["assessor", "sample", "attribute"],
        columns="replicate",
        values="score",
        observed=True,
    )
    whole = wide.dropna()
    assert len(first) == len(whole)
    assert all(
        first[key] == tuple(row) for key, row in zip(whole.index, whole.to_numpy(), strict=True)
    )


@pytest.mark.parametrize(
    ("name", "kind", "columns"),
    [
        ("control", "limits", ("estimate", "low", "high")),
        ("causes", "causes", ("estimate", "low", "high")),
        ("combined", "d-prime", ("estimate", "low", "high")),
        ("ranking", "mean ranks", ("estimate", "low", "high")),
        ("dprime", "limits", ("estimate", "low", "high")),
        ("spikes", "rates", ("hit_rate", "hit_low", "hit_high", "false_rate")),
        ("drift", "bias over sessions", ()),
        ("trend", "batches", ("estimate", "low", "high", "lower", "upper", "ewma")),
        ("numbered trend", "batches", ("estimate", "low", "high")),
        ("trend of choices", "batches", ("pc",)),
        ("gain", "power", ("power", "power_once", "power_people")),
        ("reference", "drift", ("estimate",)),
        ("retests", "chances", ("passes_once", "passes_any")),
    ],
)
def test_a_picture_holds_the_numbers_of_its_table(made, drawn, name, kind, columns):
    table = made[name].table()
    values = [value for column in columns for value in table[column] if np.isfinite(value)]
    assert held(drawn[name, kind], *values)


def test_who_drifts_is_told_apart(drawn):
    rows = rows_of(drawn["drift", "bias over sessions"])
    assert {row["assessor"] for row in rows if row["line"] == "drifts"} == {"Ada"}


def test_a_trend_has_its_limit_on_both_sides(drawn):
    rows = [
        row for row in rows_of(drawn["trend", "batches"]) if row.get("what") == "agreed limit 1"
    ]
    assert {row["y"] for row in rows} == {-1.0, 1.0}


def test_a_plan_in_stages_ends_in_its_risks(made, drawn):
    plan, rows = made["two stages"], rows_of(drawn["two stages", "operating characteristic"])
    at_limit = {
        row["what"]: row["chance"] for row in rows if row.get("truth") == 0.4 and "what" in row
    }
    assert at_limit["similar"] == pytest.approx(plan.wrong_pass)
    assert at_limit["beyond the limit"] == pytest.approx(plan.wrong_rejection)


def test_a_picture_is_saved_by_the_ending_of_its_name(drawn, tmp_path):
    picture = drawn["choice", "limits"]
    assert json.loads(picture.save(tmp_path / "a.json").read_text()) == picture.spec
    svg = picture.save(str(tmp_path / "a.SVG")).read_text()
    assert "proportion of correct answers" in svg
    assert "Open Sans" in svg
    png = picture.save(tmp_path / "a.png").read_bytes()
    assert png.startswith(b"\x89PNG")
    width, height = (int.from_bytes(png[at : at + 4], "big") for at in (16, 20))
    assert abs(width - 1920) <= 2
    assert height <= 1080
    with pytest.raises(ArgumentError, match=r"must end in \.svg, \.png, \.json; got 'a\.gif'"):
        picture.save(tmp_path / "a.gif")
    with pytest.raises(ArgumentError, match="path must be the name of a file"):
        picture.save(3)


def test_a_notebook_is_handed_the_chart_and_a_drawing(drawn):
    picture = drawn["ranking", "mean ranks"]
    bundle = picture._repr_mimebundle_()
    assert bundle["application/vnd.vegalite.v6+json"] == picture.spec
    assert bundle["image/svg+xml"].startswith("<svg")
    assert picture._repr_html_() == bundle["image/svg+xml"]
    picture.spec["width"] = 1
    assert picture.spec["width"] == 640


@pytest.mark.parametrize(
    ("call", "match"),
    [
        (lambda: choice_test("triangle", 18, 24).plot("spider"), "kind must be one of limits"),
        (lambda: choice_test("triangle", [8, 9], 24).plot(), "this result holds 2"),
        (lambda: panel_size("triangle", pd=[0.3, 0.4]).plot(), "this result holds 2"),
        (lambda: choice_test("square", 18, 24), "protocol 'square' is not known; possible are TRI"),
        (lambda: choice_test(3, 18, 24), "protocol must be one of the protocols"),
        (lambda: panel_plan("triangle", 24, instead=["round"]), "'round' is not known"),
        (lambda: trend_of_choices(counts_of_batches(), protocol=None), "protocol must be one"),
        (lambda: sensory.choice_rule(7), "protocol must be one of"),
    ],
)
def test_what_cannot_be_drawn_or_is_no_protocol_says_so(call, match):
    with pytest.raises(ArgumentError, match=match):
        call()


def test_a_profile_without_reference_or_repeats_says_what_to_draw():
    once = scores().query("replicate == 1 and attribute in ('sour', 'cooked')")
    result = profile(once)
    with pytest.raises(ArgumentError, match="or take 'means'"):
        result.plot()
    with pytest.raises(ArgumentError, match="repeats needs replicates"):
        result.plot("repeats")
    with pytest.raises(ArgumentError, match="needs three attributes or more; this profile has 2"):
        result.plot("spider")
    assert list(result.table()["estimate"]) == list(result.means["estimate"])


def test_sessions_at_once_have_a_table_of_their_own():
    table = choice_test("triangle", [8, 18], 24).table()
    assert table["correct"].tolist() == [8, 8, 8, 18, 18, 18]
    alone = choice_test("triangle", 18, 24).table()
    pd.testing.assert_frame_equal(table[3:].reset_index(drop=True), alone, check_dtype=False)
    panels = [[1, 2, 0, 2, 1, 1, 2, 0], [2, 2, 2, 1, 2, 1, 2, 0]]
    table = replicated_choice_test("triangle", panels, 2).table()
    assert table.pop("session").tolist() == [0] * 5 + [1] * 5
    alone = replicated_choice_test("triangle", panels[1], 2).table()
    pd.testing.assert_frame_equal(table[5:].reset_index(drop=True), alone, check_dtype=False)


def test_a_name_is_as_good_as_a_protocol():
    assert choice_test("Triangle", 18, 24).protocol is sensory.TRIANGLE
    assert sensory.critical_counts("3-AFC", 24, 0.05) == sensory.critical_counts(
        sensory.THREE_AFC, 24, 0.05
    )
    assert sensory.carried_pd(0.3, source="triangle", target="tetrad") == sensory.carried_pd(
        0.3, source=sensory.TRIANGLE, target=sensory.TETRAD
    )
