"""The pictures of each result, by name; `plot` and `table` of a result come here."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from ..base.errors import ArgumentError
from ..base.results import Interval
from ..base.shown import Picture
from ..catalogue.choices_read import choice_figure
from ..catalogue.controlled_read import control_figure
from ..catalogue.graded_read import graded_figure
from ..catalogue.outcome import Figure, Level, Span
from ..catalogue.panel_read import assessor_lines, assessor_points
from ..catalogue.profile_figures import places_of, profile_means
from ..catalogue.ranked_read import rank_figure
from ..catalogue.rated_read import outcome_of_profile
from ..choices.a_not_a import ANotATest, ClusteredANotATest
from ..choices.dprime import DprimeEstimate
from ..choices.forced_choice import ChoiceTest
from ..choices.plans import PanelPlan
from ..choices.replicate_gain import ReplicateGain
from ..choices.replicates import ReplicatedTest
from ..choices.retests import RetestRisk
from ..choices.risks import SessionRisks, session_risks
from ..choices.same_different import SameDifferentTest
from ..choices.sequential import SequentialPlan
from ..choices.session_finding import SessionFinding
from ..choices.size import PanelSize
from ..choices.sureness import SurenessTest
from ..choices.sureness_by_assessor import SurenessByAssessor
from ..choices.two_stage import TwoStagePlan
from ..panel.screening import Screening
from ..ratings.control import DifferenceFromControl
from ..ratings.drift import AssessorDrift
from ..ratings.profile import Profile
from ..ratings.profile_plan import ProfilePlan
from ..ratings.ranking import RankingTest
from ..ratings.sample_map import SampleMap
from ..ratings.scorecard import PanelScorecard, panel_scorecard
from ..ratings.spikes import SpikedSamples
from ..release.batch_trend import ProductTrend
from ..release.characteristic import Characteristic
from ..release.charted import Charted
from ..release.reference_state import ReferenceState
from ..serving.plan import ServingPlan
from .figure_parts import Spec, as_png, as_svg
from .figures import characteristic_figure
from .outcome_figures import (
    agreement_figure,
    assessors_figure,
    map_figure,
    means_figure,
    outcome_figure,
)
from .panel_figures import PANEL_PICTURES
from .plan_figures import (
    WIDE,
    characteristic_of_risks,
    characteristic_of_stages,
    expected_answers,
    power_curve,
    servings,
    shares,
    sizes_of_profile,
    stopping_counts,
    verdicts,
)
from .rating_figures import drift_lines, profile_lines, repeats, scale_use, spider
from .result_tables import table_of
from .shelf_figures import SHELF_PICTURES
from .study_figures import PICTURES as OF_STUDIES
from .ticked_figures import TICKED_PICTURES
from .trend_figures import rule_curves, trend_figure

__all__ = ["picture_of", "pictures_of", "plot_of", "png_of", "save", "svg_of", "table_of"]

Draw = Callable[[Any], Spec]
_DPRIME = "d-prime; 0 is no difference"


def pictures_of(result: object) -> tuple[str, ...]:
    """The pictures of a result, the first by default; none for what has numbers only in words."""
    for kind in type(result).__mro__:
        if kind in _PICTURES:
            return tuple(_PICTURES[kind])
    return ()


def plot_of(result: object, kind: str | None = None) -> Picture:
    """A picture of a result, see `Shown.plot`.

    Raises ArgumentError for a picture that the result does not have.
    """
    names, own = pictures_of(result), type(result).__name__
    if not names:
        raise ArgumentError(f"a {own} has no picture; its table is there with .table().")
    name = names[0] if kind is None else kind
    if name not in names:
        raise ArgumentError(f"kind must be one of {', '.join(names)} for a {own}; got {kind!r}.")
    draws = next(_PICTURES[each] for each in type(result).__mro__ if each in _PICTURES)
    return picture_of(name, draws[name](result))


def picture_of(title: str, chart: Spec) -> Picture:
    """A chart of ours as a picture that can be taken along: of a fixed size, on white."""
    fixed = {**chart, "background": "white"}
    if fixed.get("width") == "container":
        fixed["width"] = WIDE
    return Picture(title=title, text=json.dumps(_finite(fixed), allow_nan=False))


def svg_of(chart: Spec) -> str:
    """The chart as SVG."""
    return as_svg(chart).decode()


def png_of(chart: Spec) -> bytes:
    """The chart as PNG at the size of a slide."""
    return as_png(chart)


def save(picture: Picture, path: str | Path) -> Path:
    """Write a picture; see `Picture.save`."""
    if not isinstance(path, (str, Path)):
        raise ArgumentError(f"path must be the name of a file; got {path!r}.")
    target = Path(path)
    ways: dict[str, Callable[[], bytes]] = {
        ".svg": lambda: picture.svg().encode(),
        ".png": picture.png,
        ".json": lambda: picture.text.encode(),
    }
    ending = target.suffix.casefold()
    if ending not in ways:
        raise ArgumentError(f"path must end in {', '.join(ways)}; got {target.name!r}.")
    target.write_bytes(ways[ending]())
    return target


def _finite(part: Any) -> Any:
    """Plain data that JSON can hold: numbers as Python's own, what is not finite as nothing."""
    if isinstance(part, Mapping):
        return {str(name): _finite(value) for name, value in part.items()}
    if isinstance(part, (list, tuple)):
        return [_finite(value) for value in part]
    if isinstance(part, np.generic):
        part = part.item()
    return None if isinstance(part, float) and not math.isfinite(part) else part


# What is drawn of which result.


def _choice(test: ChoiceTest) -> Spec:
    test.check_single("plot")
    return outcome_figure(choice_figure(test), WIDE)


def _characteristic(test: ChoiceTest) -> Spec:
    test.check_single("plot")
    risks = session_risks(
        test.protocol,
        int(test.trials),
        alpha=test.alpha,
        beta=test.beta,
        pd_limit=test.pd_limit,
        two_sided=test.two_sided,
    )
    return characteristic_of_risks(risks)


def _session(finding: SessionFinding) -> Spec:
    return outcome_figure(choice_figure(finding.test, finding.replicated), WIDE)


def _spans(axis: str, spans: Sequence[Span], **options: Any) -> Spec:
    return outcome_figure(Figure(axis=axis, spans=tuple(spans), **options), WIDE)


def _replicated(test: ReplicatedTest) -> Spec:
    test.check_single("plot")
    limit = 1 - test.beta
    upper = Interval(low=0.0, high=test.pd_upper, level=limit)
    return _spans(
        "proportion of distinguishers",
        [
            Span(label="estimate", estimate=test.pd, limits=test.pd_limits),
            Span(
                label=f"upper limit ({100 * limit:.0f} %)",
                estimate=None,
                limits=upper,
                ends=(test.pd_upper,),
            ),
        ],
        shares=True,
        origin=None,
        levels=(
            Level(
                at=(test.pd_limit,), says=f"agreed limit {100 * test.pd_limit:.0f} %", agreed=True
            ),
        ),
    )


def _dprime(result: ANotATest | SameDifferentTest) -> Spec:
    span = Span(label="sample compared", estimate=result.dprime, limits=result.limits)
    return _spans(_DPRIME, [span])


def _dprime_by_assessor(result: ClusteredANotATest) -> Spec:
    span = Span(label="within an assessor", estimate=result.dprime, limits=result.limits)
    return _spans(_DPRIME, [span])


def _dprimes(result: DprimeEstimate) -> Spec:
    columns = (
        result.correct,
        result.trials,
        result.estimate,
        result.limits.low,
        result.limits.high,
    )
    rows = zip(*(array.ravel() for array in np.broadcast_arrays(*columns)), strict=True)
    return _spans(
        _DPRIME,
        [
            Span(
                label=f"{correct:g} of {trials:g}",
                estimate=float(estimate),
                limits=Interval(low=float(low), high=float(high), level=result.limits.level),
            )
            for correct, trials, estimate, low, high in rows
        ],
    )


def _graded(result: SurenessTest | SurenessByAssessor) -> Spec:
    names = [f"product {number}" for number in range(1, len(result.products) + 1)]
    return outcome_figure(graded_figure(names, result.products), WIDE)


def _retest(risk: RetestRisk) -> Spec:
    chances = {"one tasting": risk.passes_once, f"any of {risk.tries}": risk.passes_any}
    return shares(chances, f"chance to pass if {100 * risk.pd:g} % notice")


def _gain(gain: ReplicateGain) -> Spec:
    chances = {
        "with replicates": gain.power,
        "the same people once": gain.power_once,
        "as many answers by other people": gain.power_people,
    }
    return shares(chances, "power")


def _differences(result: Profile) -> Spec:
    if result.against_reference is None:
        raise ArgumentError("differences need a reference; call profile with one, or take 'means'.")
    figure = outcome_of_profile(result).figure
    if figure is None:
        raise ArgumentError("no attribute could be compared with the reference.")
    return outcome_figure(figure, WIDE)


def _assessors_of_profile(result: Profile) -> Spec:
    return _assessors(panel_scorecard(result.scores.rows, alpha=result.alpha))


def _assessors(card: PanelScorecard) -> Spec:
    return assessors_figure(assessor_lines(card))


def _agreement(card: PanelScorecard) -> Spec:
    seats = assessor_points(card)
    if not seats:
        raise ArgumentError(
            "agreement is drawn of attributes that the panel discriminates; there is none."
        )
    return agreement_figure(seats)


def _drift(result: AssessorDrift) -> Spec:
    trends = result.trends
    shown = trends[(trends["p_adjusted"] <= result.alpha) & (trends["measure"] == "bias")]
    pairs = {(str(row["assessor"]), str(row["attribute"])) for row in shown.to_dict("records")}
    return drift_lines(result.sessions, pairs)


def _spikes(result: SpikedSamples) -> Spec:
    rates = {"hit": "finds the spiked", "false": "calls a blind duplicate faulty"}
    return _spans(
        "share of servings",
        [
            Span(
                label=f"{row['assessor']}: {words}",
                estimate=float(row[f"{name}_rate"]),
                limits=Interval(
                    low=float(row[f"{name}_low"]),
                    high=float(row[f"{name}_high"]),
                    level=result.level,
                ),
            )
            for row in result.assessors.to_dict("records")
            for name, words in rates.items()
            if math.isfinite(row[f"{name}_rate"])
        ],
        shares=True,
        origin=None,
    )


def _trend(result: Charted) -> Spec:
    chart = trend_figure(ProductTrend(result=result, attribute="score", remarks=()))  # type: ignore[arg-type]
    return chart or {}


def _reference(state: ReferenceState) -> Spec:
    if state.drift is None:
        raise ArgumentError(
            "there is no drift to draw: it is the first reference, or no bridge with an estimate "
            "leads to the first."
        )
    drift = state.drift
    label = f"{state.reference.name} less {drift.first}"
    span = Span(label=label, estimate=drift.estimate, limits=drift.limits)
    return _spans("difference from the first reference", [span])


_LIMITS, _CHANCES = "limits", "operating characteristic"
_PICTURES: Mapping[type, Mapping[str, Draw]] = {
    ChoiceTest: {_LIMITS: _choice, _CHANCES: _characteristic},
    SessionFinding: {
        _LIMITS: _session,
        _CHANCES: lambda result: characteristic_of_risks(result.risks),
    },
    ReplicatedTest: {_LIMITS: _replicated},
    DprimeEstimate: {_LIMITS: _dprimes},
    ANotATest: {_LIMITS: _dprime},
    ClusteredANotATest: {_LIMITS: _dprime_by_assessor},
    SameDifferentTest: {_LIMITS: _dprime},
    SurenessTest: {_LIMITS: _graded},
    SurenessByAssessor: {_LIMITS: _graded},
    PanelPlan: {_CHANCES: lambda result: characteristic_figure(result, WIDE)},
    SessionRisks: {_CHANCES: characteristic_of_risks},
    TwoStagePlan: {_CHANCES: characteristic_of_stages, "expected answers": expected_answers},
    SequentialPlan: {
        "stopping counts": stopping_counts,
        _CHANCES: characteristic_of_stages,
        "expected answers": expected_answers,
    },
    PanelSize: {"power": power_curve},
    RetestRisk: {"chances": _retest},
    ReplicateGain: {"power": _gain},
    Profile: {
        "differences": _differences,
        "means": lambda result: means_figure(profile_means(result), WIDE),
        "lines": lambda result: profile_lines(profile_means(result)),
        "spider": lambda result: spider(profile_means(result)),
        "assessors": _assessors_of_profile,
        "scale use": lambda result: scale_use(result.scores.rows),
        "repeats": lambda result: repeats(result.scores.rows),
    },
    PanelScorecard: {
        "assessors": _assessors,
        "agreement": _agreement,
        "scale use": lambda result: scale_use(result.scores.rows),
        "repeats": lambda result: repeats(result.scores.rows),
    },
    ProfilePlan: {"assessors needed": sizes_of_profile},
    DifferenceFromControl: {
        _LIMITS: lambda result: outcome_figure(control_figure(result), WIDE),
        "scale use": lambda result: scale_use(result.scores.rows),
    },
    RankingTest: {"mean ranks": lambda result: outcome_figure(rank_figure(result), WIDE)},
    SampleMap: {"map": lambda result: map_figure(places_of(result))},
    AssessorDrift: {"bias over sessions": _drift},
    SpikedSamples: {"rates": _spikes},
    Screening: {"verdicts": verdicts},
    ServingPlan: {"servings": servings},
    Charted: {"batches": _trend},
    Characteristic: {_CHANCES: lambda result: rule_curves(result, [], WIDE)},
    ReferenceState: {"drift": _reference},
    **PANEL_PICTURES,
    **OF_STUDIES,
    **SHELF_PICTURES,
    **TICKED_PICTURES,
}
