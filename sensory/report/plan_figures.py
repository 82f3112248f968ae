"""Pictures of plans and of chances: power, stopping counts, sizes, servings, screening."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from ..base.errors import ArgumentError
from ..base.findings import Finding
from ..choices.risks import SessionRisks
from ..choices.sequential import SequentialPlan
from ..choices.size import PanelSize, operating_characteristic
from ..choices.two_stage import TwoStagePlan
from ..evidence.planned_looks import PlannedLooks
from ..models.binomial import lower_tail, upper_tail
from ..panel.screening import Screening
from ..panel.screening_rules import Verdict
from ..ratings.profile_plan import ProfilePlan
from ..serving.plan import ServingPlan
from .figure_parts import (
    BLUE,
    GREEN,
    GREY,
    LONG,
    ORANGE,
    PALETTE,
    SHORT,
    SOLID,
    Look,
    Spec,
    along,
    chance_curves,
    column,
    dressed,
    legend,
    marks,
    told_apart,
    upright,
)
from .figures import finding_curves
from .rating_figures import sample_looks
from .words import percent

WIDE = 640
_TRUTHS = np.linspace(0.0, 1.0, 101)
_FEW_TRUTHS = np.linspace(0.0, 1.0, 41)
_NOTICE = "share of people who truly notice"


def characteristic_of_risks(risks: SessionRisks, width: int = WIDE) -> Spec:
    """Chance of each finding of such a session against the truth."""
    curves = operating_characteristic(
        risks.protocol,
        risks.trials,
        alpha=risks.alpha,
        beta=risks.beta,
        pd_limit=risks.pd_limit,
        two_sided=risks.two_sided,
        pd=_TRUTHS,
    )
    chances = {finding: each.tolist() for finding, each in curves.items()}
    return finding_curves(_TRUTHS.tolist(), chances, risks.pd_limit, width)


def characteristic_of_stages(plan: TwoStagePlan | SequentialPlan, width: int = WIDE) -> Spec:
    """Chance of each finding at the end of a plan in stages against the truth."""
    ends = [plan.outcomes(float(truth)) for truth in _FEW_TRUTHS]
    chances = {
        Finding.SIMILAR: [end.similar for end in ends],
        Finding.DIFFERENT: [end.different - end.beyond for end in ends],
        Finding.BEYOND_LIMIT: [end.beyond for end in ends],
        Finding.UNDECIDED: [end.undecided for end in ends],
    }
    return finding_curves(_FEW_TRUTHS.tolist(), chances, plan.pd_limit, width)


def expected_answers(plan: TwoStagePlan | SequentialPlan, width: int = WIDE) -> Spec:
    """Expected number of answers of a plan in stages against the truth."""
    rows = [
        {"truth": float(truth), "answers": plan.outcomes(float(truth)).expected}
        for truth in _FEW_TRUTHS
    ]
    x = along("truth:Q", _NOTICE, format="%", grid=False)
    y = along("answers:Q", "expected answers", grid=False)
    line = marks("line", rows, {"x": x, "y": y}, color=BLUE, strokeWidth=3)
    words = f"agreed limit {percent(plan.pd_limit)}"
    level = upright("truth", [plan.pd_limit], words, align="left", dx=5, dy=-8)
    return dressed({"layer": [line, *level]}, width=width, height=280)


def stopping_counts(plan: SequentialPlan, width: int = WIDE) -> Spec:
    """Correct answers at which a sequential test stops, ballot by ballot."""
    looks: dict[str, Look] = {
        "different from": (ORANGE, LONG),
        "similar up to": (GREEN, SOLID),
    }
    lines = zip(looks, (plan.different_from, plan.similar_to), strict=True)
    rows = [
        {"ballots": number, "correct": count, "line": name}
        for name, counts in lines
        for number, count in enumerate(counts, start=1)
        if 0 <= count <= number
    ]
    where = {
        "x": along("ballots:Q", "ballots", grid=False),
        "y": along("correct:Q", "correct answers", grid=False),
        **told_apart("line", looks, legend(symbolSize=300)),
    }
    line = marks("line", rows, where, interpolate="step-after", strokeWidth=2.5)
    return dressed(line, width=width, height=280)


def counts_of_looks(plan: PlannedLooks, width: int = WIDE) -> Spec:
    """Right answers from which a difference is shown, at each planned look."""
    pairs = zip(plan.trials, plan.different_from, strict=True)
    rows = [{"answers": total, "correct": least} for total, least in pairs if least <= total]
    where = {
        "x": along("answers:Q", "answers in all", grid=False),
        "y": along("correct:Q", "difference from so many right", grid=False),
    }
    line = marks("line", rows, where, color=ORANGE, strokeWidth=2.5)
    points = marks("point", rows, where, color=ORANGE, filled=True, size=70)
    return dressed({"layer": [line, points]}, width=width, height=280)


def power_curve(size: PanelSize, width: int = WIDE) -> Spec:
    """Chance of a significant difference in a session of that size against the truth.

    Raises ArgumentError for a result of several sizes.
    """
    if np.ndim(size.assessors):
        raise ArgumentError(
            f"plot is for one size, this result holds {np.size(size.assessors)}; call panel_size "
            "for one of them."
        )
    people, count = int(size.assessors), int(size.critical_count)
    guess = float(size.protocol.guess)
    pc = guess + (1 - guess) * _TRUTHS
    chance = upper_tail(count, people, pc)
    if size.two_sided:
        chance = chance + lower_tail(people - count, people, pc)
    name = f"significant difference with {people} assessors"
    rows = [
        {"truth": float(truth), "chance": float(each), "what": name}
        for truth, each in zip(_TRUTHS, chance, strict=True)
    ]
    x = along("truth:Q", _NOTICE, format="%", grid=False)
    chart = chance_curves(rows, {name: (BLUE, SOLID)}, x, legend(labelLimit=400))
    return dressed(chart, width=width, height=280)


def shares(chances: Mapping[str, float], title: str, width: int = WIDE) -> Spec:
    """A point a chance, one below the other."""
    rows = [{"row": name, "chance": float(chance)} for name, chance in chances.items()]
    where = {
        "x": along("chance:Q", title, {"domain": [0, 1]}, format="%", tickCount=11, grid=True),
        "y": along("row:N", None, sort=list(chances), ticks=False, domain=False, labelLimit=300),
    }
    point = marks("point", rows, where, color=BLUE, filled=True, size=120, opacity=1)
    return dressed(point, width=width, height=40 * len(rows))


def sizes_of_profile(plan: ProfilePlan, width: int = WIDE) -> Spec:
    """Chance that a sample is shown to be within the margins against the number of assessors."""
    together = "all attributes"
    names = list(map(str, plan.margins))
    looks = {together: (GREY, [12, 3]), **sample_looks(names)}
    rows = []
    for people in range(2, max(2 * plan.assessors, 12) + 1):
        chances = {str(name): chance for name, chance in plan.chances(people).items()}
        for name, chance in {**chances, together: plan.together(people)}.items():
            rows.append({"truth": people, "chance": float(chance), "what": name})
    x = along("truth:Q", "assessors", {"zero": False, "nice": False}, grid=False, format="d")
    layers = [
        chance_curves(rows, looks, x, legend(symbolSize=300, columns=5)),
        *upright(
            "truth",
            [plan.assessors],
            f"{plan.assessors} needed",
            dash=SHORT,
            align="left",
            dx=5,
            dy=-8,
        ),
    ]
    return dressed({"layer": layers}, width=width, height=280)


def servings(plan: ServingPlan) -> Spec:
    """Who gets which sample when, with the codes; it names the samples: not for assessors."""
    samples = list(dict.fromkeys(row.sample for row in plan.rows))
    places = list(
        dict.fromkeys(
            f"{row.sitting}.{row.set}.{row.position}"
            for row in sorted(plan.rows, key=lambda row: (row.sitting, row.set, row.position))
        )
    )
    rows = [
        {
            "assessor": row.assessor,
            "place": f"{row.sitting}.{row.set}.{row.position}",
            "sample": row.sample,
            "code": row.code or "labelled",
        }
        for row in plan.rows
    ]
    colours = [PALETTE[at % len(PALETTE)] for at in range(len(samples))]
    scale = {"domain": samples, "range": colours}
    where = {
        "x": along("place:N", "sitting, set, position", sort=places, labelAngle=0, orient="top"),
        "y": along("assessor:N", None, sort=list(plan.assessors), ticks=False, domain=False),
    }
    filled = {**where, "color": column("sample:N", sort=samples, title=None, scale=scale,
                                       legend=legend())}  # fmt: skip
    word = {**where, "text": column("label:N")}
    rows = [{**row, "label": f"{row['sample']} {row['code']}"} for row in rows]
    layers = [
        marks("rect", rows, filled, opacity=0.25, stroke="white"),
        marks("text", rows, word, color="#333333", fontSize=11),
    ]
    return dressed({"layer": layers}, width={"step": 92}, height={"step": 20})


_VERDICTS: dict[str, Look] = {
    Verdict.PASS.value: (GREEN, "circle"),
    Verdict.GO_ON.value: (GREY, "square"),
    Verdict.FAIL.value: (ORANGE, "triangle-down"),
}


def verdicts(result: Screening, across: int = 150) -> Spec:
    """A mark a candidate and part; shapes tell pass, fail and still open apart."""
    rows = [
        {
            "assessor": row["assessor"],
            "part": row["part"],
            "verdict": row["part verdict"],
            "reason": row["reason"],
        }
        for row in result.summary().records()
    ]
    parts: Sequence[str] = [name for name, _ in result.rules]
    where = {
        "x": along("part:N", None, sort=list(parts), labelAngle=0, orient="top"),
        "y": along("assessor:N", None, ticks=False, domain=False, grid=True),
        "tooltip": [column("reason:N")],
        **told_apart("verdict", _VERDICTS, legend(orient="bottom"), "shape"),
    }
    point = marks("point", rows, where, filled=True, size=130, opacity=1)
    return dressed(point, width=across * len(parts), height={"step": 24})
