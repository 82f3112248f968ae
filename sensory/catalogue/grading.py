"""Grading at the line: how it is asked, served and answered; read by `grading_read`.

Why so
------
A session holds many batches, as a profile does: they stand among its samples by their numbers, a
tasting of each hangs on the one session, and each batch has its own decision in the one outcome. A
session a batch was the other road; it would serve each batch with controls and spiked samples of
its own, of which the graders would soon know that two of four are not what they seem, and would
leave too few of them to know a grader by.

Nobody grades a sample twice: a control or spiked sample that comes twice has two names.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from ..base.errors import ArgumentError
from ..base.spelling import same_person
from ..base.standards import STANDARDS
from .columns import ASSESSOR, CODE, COMMENT, SAMPLE, Column, columns_once
from .defects import typed_defects
from .grading_truth import IN, OUT, truth_counts
from .kind import KnownTruth, ReleaseTerms, ServingRules, TestKind, Words
from .outcome import Outcome
from .question import Question
from .scales import Setting

Row = dict[str, Any]
_CONTROLS = "blind control 1; blind control 2; blind control 3"
_SPIKED = "spiked 1; spiked 2; spiked 3"
KNOWN_DAYS = 91
"""Days whose known samples count for each grader in a session by the release rule: a quarter, as
the drift of graders is judged by (our choice)."""


def _listed(settings: Mapping[str, Any], key: str) -> list[str]:
    return GRADING.listed(settings, key)


def _fits(settings: Mapping[str, Any]) -> None:
    grades = [name.casefold() for name in _listed(settings, "grades")]
    named = _listed(settings, "out")
    if unknown := [name for name in named if name.casefold() not in grades]:
        raise ArgumentError(f"{unknown[0]!r} counts as out and is none of the grades.")
    if grades and {name.casefold() for name in named} >= set(grades):
        raise ArgumentError("not every grade can count as out.")
    controls, spiked = (_listed(settings, key) for key in ("controls", "spiked"))
    if both := {same_person(name) for name in controls} & {same_person(name) for name in spiked}:
        raise ArgumentError(f"{min(both)!r} is a control and a spiked sample; it can be one only.")
    if samples := {same_person(name) for name in _listed(settings, "samples")}:
        for name in (*controls, *spiked):
            if same_person(name) not in samples:
                raise ArgumentError(f"{name!r} is none of the samples in the plan.")
    typed_defects(str(GRADING.setting(settings, "defects")))


def _defects(settings: Mapping[str, Any]) -> list[str]:
    return [each.name for each in typed_defects(str(GRADING.setting(settings, "defects")))]


def _known_truth(rows: Sequence[Row], question: Question) -> dict[str, KnownTruth]:
    return truth_counts(rows, GRADING, question.settings)


def _read(rows: Sequence[Row], question: Question) -> Outcome:
    from .grading_read import read_grading  # a booth loads no statistics

    return read_grading(rows, question)


def _read_known(
    rows: Sequence[Row], question: Question, before: Mapping[str, KnownTruth]
) -> Outcome:
    from .grading_read import read_grading  # a booth loads no statistics

    return read_grading(rows, question, before)


def _planning(question: Question) -> tuple[str, ...]:
    from .grading_read import planned_grading  # a booth loads no statistics

    return planned_grading(question)


def _of_rule(limit: float | None, margins: Mapping[str, float], batch: str) -> dict[str, Any]:
    return {"samples": f"{_CONTROLS}; {_SPIKED}; {batch}", "known_days": KNOWN_DAYS}


def _rate(key: str, label: str, default: float) -> Setting:
    return Setting(
        key=key, label=label, kind="number", default=default, low=0.0, high=1.0, assumed=True,
        optional=True,
    )  # fmt: skip


GRADING = TestKind(
    key="GRADING",
    answer="grade",
    counts_people=True,
    finds="Each batch in or out: where the graders see the limit, a good batch is stopped with a "
    "chance of at most alpha = {alpha}, and one at the limit passes with a chance of at most "
    "beta = {beta}.",
    name="grading at the line",
    standard=STANDARDS["ISO 20613"],
    standard_note="quality control in general; no rule of votes is known from it",
    asks="Is this sample within the agreed standard?",
    words={
        "en": Words(
            asks="Is this sample within the agreed standard?",
            beside={"defect": "Defect, if any"},
        ),
        "de": Words(
            asks="Liegt diese Probe innerhalb des vereinbarten Standards?",
            answers={IN: "innerhalb", OUT: "außerhalb", "none": "keiner"},
            beside={"defect": "Fehler, falls einer"},
        ),
        "es": Words(
            asks="¿Está esta muestra dentro del estándar acordado?",
            answers={IN: "dentro", OUT: "fuera", "none": "ninguno"},
            beside={"defect": "Defecto, si hay alguno"},
        ),
        "fr": Words(
            asks="Cet échantillon est-il conforme au standard convenu ?",
            answers={IN: "conforme", OUT: "non conforme", "none": "aucun"},
            beside={"defect": "Défaut, s'il y en a un"},
        ),
    },
    letters="Samples by name: batches by their numbers, blind controls and spiked samples by the "
    "names agreed for them.",
    settings=(
        Setting(
            key="grades",
            label="Grades from best to worst, separated by semicolons",
            default=f"{IN}; {OUT}",
            needed=True,
        ),
        Setting(key="out", label="Grades that count as out (empty: the worst)"),
        Setting(
            key="controls",
            label="Blind controls among the samples: known to be good",
            default=_CONTROLS,
            needed=True,
        ),
        Setting(
            key="spiked",
            label="Spiked samples among them: known to be at the limit",
            default=_SPIKED,
            needed=True,
        ),
        Setting(key="samples", label="Samples in the plan, separated by semicolons (empty: any)"),
        Setting(key="defects", label="Defects: 'metallic: major, hold; flat: minor, blend'"),
        Setting(key="defect_list", label="Which list of defects this is", optional=True),
        Setting(
            key="known_days",
            label="Days before whose controls and spiked samples count for each grader as well",
            kind="number",
            default=0,
            high=366,
            whole=True,
            optional=True,
        ),
        _rate("hits_assumed", "Assumed: share of samples at the limit a grader calls out", 0.9),
        _rate("false_assumed", "Assumed: share of good samples a grader calls out", 0.05),
    ),
    ballot=columns_once(
        ASSESSOR,
        SAMPLE,
        CODE,
        Column(
            name="answer",
            required=True,
            cell="grade",
            answer=True,
            also=("grade", "verdict"),
            meaning="The grade in words as agreed, or its number from 1 for the best.",
            example="out",
        ),
        Column(
            name="defect",
            cell="beside",
            also=("fault", "defects"),
            meaning="Which defect of the agreed list, or none. Empty means none.",
            example="",
        ),
        COMMENT,
        once="assessor sample",
    ),
    serving=ServingRules(splittable=True, replicates=False, most=40),
    read=_read,
    release=ReleaseTerms(by="votes", settings=_of_rule, many=True),
    beside={"defect": _defects},
    fits=_fits,
    known_truth=_known_truth,
    reads_known=_read_known,
    planning=_planning,
)
