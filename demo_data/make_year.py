"""Makes a year of an invented quince cordial on two lines. Run it from this folder.

Each batch is compared with the reference by difference from control, beside a blind
reference, by 10 to 12 of 14 assessors. `truth` is how far a batch truly lies from the
reference of that day, in points of the scale from 0 to 10. Batches are never quite the same:
usually they lie at about 0.1. Three changes lie on top:

1. **A new lot of sweetener**, SW-2604, has a caramel note: `CARAMEL` points in every batch made
   with it, on either line, from 6 April to 7 May. One batch between them was made from what was
   left of the lot before, and lies where it was. To be found: both lines step within days of
   each other, with the first batch of that lot; the trace of the lot names those that lie high.
2. **The reference ages.** QR-2 moves from the middle of May on, up to `AGED` points at the end
   of July, so that all batches of both lines seem to move away together, slowly, whatever they
   are made of. To be found: both lines step at the same time, and the lots that they share go
   on when it is over; QR-2 is compared with the first reference, QR-1, again and lies beyond
   the limit of drift. QR-3, fresh, similar to QR-1 and not to QR-2, takes over on 6 August, and
   the level comes back.
3. **A gasket** of the filler of line 2 is worn in September and October and taints some batches
   and others not (`RUBBER`, by date) until it is replaced on 24 October. To be found: single
   batches beyond the limits of the chart, on line 2 only; assessors write of rubber.

Ordinary life beside them: a tasting that could not tell (`NOISY`), whose batch was reworked; a
tasting broken off by a fire drill; a batch that food safety refused; one held over the summer,
as the reference was doubted by then; at the end three that wait for clearance, tasting and
decision. Decisions are those of the day: what the release rule recommends, but for `DECIDED`.

Sizes and seed were chosen so that the three can be found and are not obvious: nobody who looks
at single batches of the first two sees more than a few that are beyond what is tolerated.
"""

from __future__ import annotations

import json
from datetime import date, timedelta
from typing import Any

import numpy as np
import pandas as pd
from make_demo import HERE, write_csv

from sensory import difference_from_control
from sensory.base.findings import Finding
from sensory.release.rule import ReleaseRule

SEED = 109
Rng = np.random.Generator

PRODUCT = "Quince cordial"
RULE = ReleaseRule(
    test="DIFFERENCE_FROM_CONTROL",
    limit=1.5,
    assessors=12,
    alpha=0.05,
    beta=0.05,
    scatter=0.7,
)
BY, ROLE = "Nora Winter", RULE.decides
START, WEEKS = date(2025, 12, 1), 52
CLOSED_WEEKS = {date(2025, 12, 22), date(2025, 12, 29), date(2026, 7, 27), date(2026, 8, 3)}
LAST = date(2026, 11, 24)

LOTS = {
    "sweetener": {
        "2025-12-01": "SW-2511", "2026-01-12": "SW-2601", "2026-02-23": "SW-2602",
        "2026-04-06": "SW-2604", "2026-05-08": "SW-2605", "2026-06-22": "SW-2606",
        "2026-08-10": "SW-2608", "2026-09-14": "SW-2609", "2026-10-26": "SW-2610",
    },
    "fruit concentrate": {
        "2025-12-01": "FC-117", "2026-01-19": "FC-121", "2026-03-16": "FC-126",
        "2026-04-27": "FC-130", "2026-06-15": "FC-133", "2026-08-10": "FC-138",
        "2026-09-28": "FC-142", "2026-11-02": "FC-145",
    },
    "citric acid": {
        "2025-12-01": "CA-25-4", "2026-02-16": "CA-26-1", "2026-05-25": "CA-26-2",
        "2026-08-31": "CA-26-3",
    },
    "flavour": {
        "2025-12-01": "FL-88", "2026-03-02": "FL-91", "2026-06-08": "FL-93",
        "2026-09-07": "FL-96",
    },
}  # fmt: skip
CARAMEL_LOT, CARAMEL = "SW-2604", 0.9
REST_OF_OLD_LOT = {"2026-04-21": "SW-2602"}
AGEING, AGED = (date(2026, 5, 10), date(2026, 7, 27)), 0.85
RENEWED = date(2026, 8, 6)
RUBBER = {"2026-09-17": 2.3, "2026-09-24": 1.9, "2026-10-08": 2.6, "2026-10-22": 2.4}

NOISY = "2026-02-10"
HELD_OVER_SUMMER = "2026-07-16"
REWORK_DAY = date(2026, 2, 27)
REWORK_OF = {"2026-02-27": NOISY, "2026-08-11": HELD_OVER_SUMMER}
FIRE_DRILL = "2026-03-12"
REFUSED = "2026-06-16"
NOT_CLEARED, NOT_TASTED, NOT_DECIDED = "2026-11-24", "2026-11-23", "2026-11-19"

DEVIATIONS = {
    NOISY: "The floor of the tasting room had been polished in the morning; it still smelt.",
}
DECIDED: dict[str, list[tuple[int, str, str, str]]] = {
    NOISY: [
        (0, "HOLD", "As recommended: the session could not tell. No second tasting is planned.",
         "panel"),
        (3, "REWORK", "Goes into the next batch of line 1 at one part in ten.", "panel"),
    ],
    FIRE_DRILL: [
        (0, "RELEASE", "The alarm came when three had begun and nobody had finished; nothing of "
         "the first tasting was looked at. The second one is clear.", "panel"),
    ],
    REFUSED: [(1, "REJECT", "Food safety refused it: the sieve behind the mixer was torn.",
               "line")],
    HELD_OVER_SUMMER: [
        (0, "HOLD", "Both lines have moved since June: first the reference is looked at.",
         "reference"),
        (17, "REWORK", "QR-2 had aged, so this tasting says little of the batch. Goes into the "
         "first batch after the holidays at one part in ten.", "reference"),
    ],
    "2026-09-17": [(0, "REJECT", "As recommended. Five write of rubber; line 1 is clean.",
                    "line")],
    "2026-10-22": [(0, "HOLD", "Rubber again. Kept for the insurer, who wants to draw samples.",
                    "line")],
}  # fmt: skip
REASONS = {
    Finding.SIMILAR: ("RELEASE", "As recommended: any difference is below the limit.", ""),
    Finding.DIFFERENT_WITHIN_LIMIT: (
        "RELEASE", "As recommended: perceptible, below the limit.", "",
    ),
    Finding.BEYOND_LIMIT: ("REJECT", "As recommended: beyond the limit.", "unknown"),
}  # fmt: skip
OPEN = [
    (0, "HOLD", "As recommended: different, and whether within the limit is open.", ""),
    (6, "REJECT", "No room to keep it for a larger panel.", "unknown"),
]
"""What became of batches that were different, with the limit open."""

COMMENTS = {
    "plain": ("a little sharper", "thinner", "hard to say", "more peel", "a little flat"),
    "caramel": ("caramel", "burnt sugar", "less fresh", "heavier", "toffee"),
    "aged": ("fresher", "sharper", "less cooked", "brighter", "more quince"),
    "rubber": ("rubber", "like a hose", "tyre", "plastic", "rubber at the end"),
}
FOLLOWED = "cooked fruit"
"""Attribute that ages most: in it the drift of references is followed."""
_OF = {
    "cleared_by": "food safety",
    "test": "PROFILE",
    "reference": "QR-2",
    "batch": "QN-25-109",
    "to": "QR-1",
}
COMPARISONS = [
    _OF | {"name": "QR-2 new", "held_on": "2025-11-20"},
    _OF | {"name": "QR-2 in spring", "held_on": "2026-04-30"},
    _OF | {"name": "QR-2 in summer", "held_on": "2026-07-30"},
    _OF | {"name": "QR-3 beside QR-2", "held_on": "2026-08-05", "reference": "QR-3",
           "batch": "QN-26-R3", "to": "QR-2"},
    _OF | {"name": "QR-3 beside QR-1", "held_on": "2026-08-05", "reference": "QR-3",
           "batch": "QN-26-R3"},
]  # fmt: skip
STEPS = [(0.0, 0.05), (-0.1, 0.15), (-0.4, 0.95), (0.4, -0.9), (0.0, 0.05)]
"""True difference of each comparison, newer less older, in quince and in cooked fruit."""
PEOPLE = [f"P{number:02d}" for number in range(1, 15)]


def use_of_scale(rng: Rng) -> dict[str, tuple[float, float, float]]:
    """For each assessor: score of an unchanged cup, points a point, scatter of a cup."""
    habit = rng.uniform(0.3, 1.6, len(PEOPLE))
    points = rng.uniform(0.75, 1.25, len(PEOPLE))
    scatter = rng.uniform(0.35, 0.65, len(PEOPLE))
    return dict(zip(PEOPLE, zip(habit, points, scatter, strict=True), strict=True))


def made() -> list[tuple[date, str]]:
    """Day and line of every batch: 2 or 3 a week."""
    days, extra = [], 0
    for week in range(WEEKS):
        monday = START + timedelta(weeks=week)
        if monday in CLOSED_WEEKS:
            continue
        if week % 5 in (1, 3):
            days.append((monday, f"line {1 + extra % 2}"))
            extra += 1
        days += [(monday + timedelta(1), "line 1"), (monday + timedelta(3), "line 2")]
    days.append((REWORK_DAY, "line 1"))
    return sorted(day for day in days if day[0] <= LAST)


def lots(day: date) -> list[dict[str, str]]:
    """The lot of each material that was in use."""
    found = []
    for material, since in LOTS.items():
        lot = [lot for start, lot in since.items() if start <= day.isoformat()][-1]
        if material == "sweetener":
            lot = REST_OF_OLD_LOT.get(day.isoformat(), lot)
        found.append({"material": material, "lot": lot})
    return found


def truth(day: date, line: str, raw: list[dict[str, str]], rng: Rng) -> tuple[float, str]:
    """How far the batch lies from the reference of that day, and why."""
    own = max(0.0, rng.normal(0.1, 0.12))
    if raw[0]["lot"] == CARAMEL_LOT:
        return own + CARAMEL, "caramel"
    if line == "line 2" and day.isoformat() in RUBBER:
        return own + RUBBER[day.isoformat()], "rubber"
    if AGEING[0] < day < RENEWED:
        share = (day - AGEING[0]) / (AGEING[1] - AGEING[0])
        return own + AGED * share, "aged" if share > 0.3 else "plain"
    return own, "plain"


def tasting(
    number: str,
    distance: float,
    cause: str,
    scale: dict[str, tuple[float, float, float]],
    rng: Rng,
    noise: float = 1.0,
) -> list[dict[str, str]]:
    """Two cups each, in random order: scores in halves, none below 0, with a tail upwards."""
    present = sorted(rng.choice(PEOPLE, int(rng.choice([10, 11, 12], p=[0.2, 0.3, 0.5])), False))
    codes = iter(rng.choice(np.arange(100, 1000), 2 * len(present), False))
    rows = []
    for assessor in present:
        habit, points, scatter = scale[str(assessor)]
        for sample in rng.permutation(["blind reference", number]):
            away = distance if sample == number else 0.0
            tail = (rng.gamma(3.0) - 3.0) / 3.0**0.5
            score = np.clip(habit + points * away + noise * scatter * tail, 0, 10)
            speaks = sample == number and rng.random() < min(0.12 + 0.25 * distance, 0.6)
            rows.append(
                {"batch": number, "tasting": "1", "assessor": str(assessor),
                 "sample": str(sample), "code": str(next(codes)),
                 "score": f"{np.round(2 * score) / 2:.1f}",
                 "comment": str(rng.choice(COMMENTS[cause])) if speaks else ""}
            )  # fmt: skip
    return rows


def finding(rows: list[dict[str, str]]) -> Finding:
    """What the ballots show by the release rule."""
    frame = pd.DataFrame(rows)[["assessor", "sample", "score"]].astype({"score": float})
    found = difference_from_control(
        frame, control="blind reference", limit=RULE.limit, alpha=RULE.alpha, beta=RULE.beta
    )
    return Finding(found.against_control["finding"].iloc[0])


def decisions(day: str, tasted: date, found: Finding | None) -> list[dict[str, str]]:
    """What the authorised person decided, and when."""
    if day in DECIDED:
        told = DECIDED[day]
    elif found is None or day == NOT_DECIDED:
        told = []
    else:
        told = OPEN if found is Finding.DIFFERENT else [(0, *REASONS[found])]
        if day in RUBBER:
            told = [(*entry[:3], "line") for entry in told]
    return [
        {"disposition": what, "by": BY, "role": ROLE, "reason": reason, "cause": cause,
         "on": (tasted + timedelta(later)).isoformat()}
        for later, what, reason, cause in told
    ]  # fmt: skip


def clearance(day: str, cleared: date) -> dict[str, Any] | None:
    """What food safety and quality assurance said."""
    if day == NOT_CLEARED:
        return None
    return {"food_safe": day != REFUSED, "allergens": ["sulphites"], "by": "food safety",
            "on": cleared.isoformat()}  # fmt: skip


def one_batch(
    number: str,
    day: date,
    line: str,
    numbers: dict[str, str],
    scale: dict[str, tuple[float, float, float]],
    rng: Rng,
) -> tuple[dict[str, Any], list[dict[str, str]]]:
    """All about one batch, and its ballots."""
    raw, key = lots(day), day.isoformat()
    distance, cause = truth(day, line, raw, rng)
    litres = (6000 if line == "line 1" else 4000) + 50 * int(rng.integers(-6, 7))
    batch = {"number": number, "product": PRODUCT, "made_on": key, "line": line,
             "amount": litres, "unit": "l", "raw_lots": raw}  # fmt: skip
    if key in REWORK_OF:
        batch["rework_of"] = [numbers[REWORK_OF[key]]]
    tasted = day + timedelta(4 if day.weekday() >= 3 else 2)
    held, rows = [], []
    if key not in (REFUSED, NOT_CLEARED, NOT_TASTED):
        rows = tasting(number, distance, cause, scale, rng, 3.0 if key == NOISY else 1.0)
        held = [{"held_on": tasted.isoformat(), "deviations": DEVIATIONS.get(key, "none")}]
    found = finding(rows) if rows else None
    if key == FIRE_DRILL:
        begun = tasting(number, distance, cause, scale, rng)[:5:2]
        held.insert(0, held[0] | {"aborted": "Fire drill; the tasting was broken off."})
        tasted += timedelta(1)
        held[1]["held_on"] = tasted.isoformat()
        rows = begun + [row | {"tasting": "2"} for row in rows]
    plain = {
        "batch": batch,
        "clearance": clearance(key, day + timedelta(1)),
        "tastings": held,
        "decisions": decisions(key, tasted, found),
    }
    return plain, rows


def comparison(at: int, quince: float, cooked: float) -> list[dict[str, str]]:
    """Two references beside each other in two attributes, twelve assessors, two cups of each."""
    name, newer = COMPARISONS[at]["name"], COMPARISONS[at]["reference"]
    rng = np.random.default_rng([SEED, 4500 + at])
    codes = iter(rng.choice(np.arange(100, 1000), 4 * len(PEOPLE), False))
    rows = []
    for assessor in PEOPLE[:12]:
        habit, liking = rng.normal([6.4, 2.6], 0.6), rng.normal(0, 0.12, 2)
        for replicate in (1, 2):
            for sample in rng.permutation(["reference", newer]):
                away = np.array([quince, cooked]) + liking if sample == newer else np.zeros(2)
                scores = np.clip(habit + away + rng.normal(0, 0.35, 2), 0, 10)
                halves = [f"{np.round(2 * score) / 2:.1f}" for score in scores]
                rows.append(
                    {"comparison": name, "assessor": assessor, "sample": str(sample),
                     "replicate": str(replicate), "code": str(next(codes)),
                     "quince": halves[0], "cooked fruit": halves[1]}
                )  # fmt: skip
    return rows


def bridge(name: str, older: str, **decided: dict[str, str]) -> dict[str, Any]:
    """How two references were compared: the session, and what its estimate is of."""
    return {"comparison": name, "to": older, "attribute": FOLLOWED} | decided


def references() -> list[dict[str, Any]]:
    """The three references with the day on which each took over."""
    same = {"product": PRODUCT, "kind": "STORED_STABLE"}
    second = bridge("QR-2 new", "QR-1")
    aged = {"decided_by": BY, "role": ROLE,
            "reason": "QR-2 has aged: it lies far from QR-1, and QR-3 does not."}  # fmt: skip
    return [
        {"taken_over": "2024-12-02", "why": "first reference, agreed with development and sales",
         "reference": same | {
             "name": "QR-1", "batch": "QN-24-112", "made_on": "2024-11-25",
             "usable_until": "2027-12-31", "storage": "-40 °C, dark"}},
        {"taken_over": "2025-11-24", "why": "QR-1 is kept for comparisons from now on",
         "reference": same | {
             "name": "QR-2", "batch": "QN-25-109", "made_on": "2025-11-12",
             "usable_until": "2026-11-30", "storage": "4 °C, dark"},
         "bridges": {"previous": second, "first": second}},
        {"taken_over": "2026-08-06", "why": "QR-2 has drifted beyond the limit",
         "reference": same | {
             "name": "QR-3", "batch": "QN-26-R3", "made_on": "2026-08-03",
             "usable_until": "2027-01-31", "storage": "-18 °C, dark"},
         "bridges": {"previous": bridge("QR-3 beside QR-2", "QR-2", decided=aged),
                     "first": bridge("QR-3 beside QR-1", "QR-1")}},
    ]  # fmt: skip


def whole(batches: list[dict[str, Any]]) -> dict[str, Any]:
    """The year but for its ballots."""
    return {
        "product": {
            "name": PRODUCT,
            "attributes": [
                {"attribute": "quince", "margin": 1.0},
                {"attribute": "cooked fruit", "margin": 0.8},
                {"attribute": "rubber", "high": 0.5},
            ],
        },
        "rule": RULE.to_dict(),
        "rule_in_words": RULE.words(),
        "drift_limit": 0.6,
        "agreed_on": "2024-12-02",
        "agreed_because": "Agreed with management: consumers noticed nothing up to 1.5.",
        "references": references(),
        "comparisons": COMPARISONS,
        "compared_again": [
            {"why": "half-yearly comparison", "reference": "QR-2", "on": "2026-04-30",
             **bridge("QR-2 in spring", "QR-1")},
            {"why": "both lines moved together: is it the reference?", "reference": "QR-2",
             "on": "2026-07-30", **bridge("QR-2 in summer", "QR-1")},
        ],
        "tasting_room": {
            "place": "tasting room, six booths, 21 °C",
            "leader": "Mira Lund",
            "assessors": "14 of the staff, trained with this cordial",
            "information": "told which cup is the reference; not which of the others is",
            "conditions": "40 ml, diluted 1 + 6 at 14 °C; water between samples",
        },
        "batches": batches,
    }  # fmt: skip


def write_year(year: dict[str, Any]) -> None:
    """One line a batch, so that a change of one shows as one."""
    lines = [json.dumps(one, ensure_ascii=False) for one in year["batches"]]
    head = json.dumps({**year, "batches": []}, indent=2, ensure_ascii=False)
    text = head.replace('"batches": []', '"batches": [\n    ' + ",\n    ".join(lines) + "\n  ]")
    (HERE / "year.json").write_text(text + "\n", encoding="utf-8")


def main() -> None:
    """Write the three files of the year."""
    days = made()
    numbers = {day.isoformat(): f"QN-{at:03d}" for at, (day, _) in enumerate(days, start=1)}
    scale = use_of_scale(np.random.default_rng([SEED, 0]))
    batches, ballots = [], []
    for at, (day, line) in enumerate(days, start=1):
        rng = np.random.default_rng([SEED, at])
        plain, rows = one_batch(f"QN-{at:03d}", day, line, numbers, scale, rng)
        batches.append(plain)
        ballots += rows
    write_year(whole(batches))
    write_csv("year", ballots)
    compared = [comparison(at, *step) for at, step in enumerate(STEPS)]
    write_csv("references", [row for rows in compared for row in rows])


if __name__ == "__main__":
    main()
