"""Makes the line gradings of the invented year: sloe cordial on line 3. Run it from this folder.

Three graders call six batches a day in or out, with three blind controls and three spiked samples
(a trace of iron, at the limit) among them. Four days in May are the history; four in November are
the month that is looked at. To be found:

- **G3 drifts**: finds 96 of 100 spiked samples in May, 20 of 100 in November (a cold that would not
  go). The page *Panel* names nobody else.
- **Flat batches**: a pump that draws air leaves more and more batches flat, a minor defect with
  which a batch is still in, so that no batch says it. Graders name it in 3 of 100 batches in May,
  in 30 to 85 of 100 in November (`FLAT`). *Trend* and *Today* name the rise; 'metallic' does not
  rise.
- One batch, `METALLIC`, is truly metallic, and called out, though G3 does not notice.
"""

from __future__ import annotations

import json
from datetime import date, timedelta
from typing import Any

import numpy as np
from make_demo import HERE, write_csv

from sensory.release.rule import ReleaseRule

SEED = 20261236
PRODUCT = "Sloe cordial"
RULE = ReleaseRule(test="GRADING", assessors=3, beta=0.1)
GRADERS, DRIFTS = ("G1", "G2", "G3"), "G3"
EACH_DAY, KNOWN = 6, 3
DAYS = [date(2026, 5, day) for day in (5, 12, 19, 26)]
DAYS += [date(2026, 11, day) for day in (3, 5, 10, 12)]
FLAT = [0.03] * 4 + [0.3, 0.6, 0.75, 0.85]
METALLIC = 33
HIT, HIT_LATE, FALSE_ALARM = 0.96, 0.2, 0.02
DECIDED = {
    "SC-0019": {
        "disposition": "RELEASE",
        "reason": "As recommended. Graded again by two of the laboratory: nothing metallic.",
    },
    f"SC-{METALLIC:04d}": {
        "disposition": "REJECT", "cause": "unknown",
        "reason": "Metallic to two of three. The line was opened, and nothing found.",
    },
}  # fmt: skip
"""What was decided otherwise than recommended, where something is wrong."""
Rng = np.random.Generator


def batch(number: int, day: date) -> dict[str, Any]:
    """Made the day before, on line 3."""
    return {"number": f"SC-{number:04d}", "made_on": (day - timedelta(1)).isoformat(),
            "line": "line 3", "amount": 2000, "unit": "l"}  # fmt: skip


def grades(day: int, batches: list[str], rng: Rng) -> list[dict[str, str]]:
    """All samples of a day, by every grader in an order of their own."""
    known = [f"{kind} {number}" for kind in ("blind control", "spiked")
             for number in range(1, KNOWN + 1)]  # fmt: skip
    flat = {name: rng.random() < FLAT[day] for name in batches}
    rows = []
    for grader in GRADERS:
        hit = HIT_LATE if grader == DRIFTS and DAYS[day].month == 11 else HIT
        codes = iter(rng.choice(np.arange(100, 1000), len(batches) + len(known), False))
        for sample in rng.permutation([*batches, *known]):
            bad = sample.startswith("spiked") or sample == f"SC-{METALLIC:04d}"
            out = rng.random() < (hit if bad else FALSE_ALARM)
            defect = "metallic" if out else ""
            if not out and flat.get(str(sample)) and rng.random() < 0.7:
                defect = "flat"
            rows.append(
                {"held_on": DAYS[day].isoformat(), "assessor": grader, "sample": str(sample),
                 "code": str(next(codes)), "answer": "out" if out else "in", "defect": defect,
                 "comment": ""}
            )  # fmt: skip
    return rows


def whole(gradings: list[dict[str, Any]]) -> dict[str, Any]:
    """All but the grades."""
    return {
        "product": PRODUCT,
        "rule": RULE.to_dict(),
        "agreed_because": "Agreed with management: a trace of iron at the limit. (2026-04-27)",
        "defects": "metallic: major, hold the batch; flat: minor, blend",
        "defects_because": "what came back in the years before",
        "allergens": ["sulphites"],
        "taken_over": "2026-04-27",
        "reference": {
            "name": "SR-1", "product": PRODUCT, "kind": "STORED_STABLE", "batch": "SC-0001",
            "made_on": "2026-04-20", "usable_until": "2027-04-30", "storage": "-18 °C, dark",
        },
        "tasting_room": {
            "place": "bench at line 3, 20 °C",
            "leader": "Mira Lund",
            "assessors": "the three graders of line 3",
            "information": "told that controls and spiked samples are among them, not which",
            "conditions": "30 ml, diluted 1 + 6 at 14 °C; water between samples",
            "deviations": "none",
        },
        "question": {
            "what_changed": "Nothing is known to have changed: the batches of the day before.",
            "if_different": "hold", "if_beyond": "hold", "if_similar": "release",
            "if_undecided": "hold", "exclusion_rule": "None.", "retest_rule": "none",
        },
        "decides": {"by": "Nora Winter", "role": RULE.decides},
        "decided": DECIDED,
        "gradings": gradings,
    }  # fmt: skip


def main() -> None:
    """Write the two files."""
    gradings, rows = [], []
    for at, day in enumerate(DAYS):
        batches = [batch(2 + EACH_DAY * at + number, day) for number in range(EACH_DAY)]
        gradings.append({"held_on": day.isoformat(), "batches": batches})
        rng = np.random.default_rng([SEED, at])
        rows += grades(at, [each["number"] for each in batches], rng)
    text = json.dumps(whole(gradings), indent=2, ensure_ascii=False)
    (HERE / "gradings.json").write_text(text + "\n", encoding="utf-8")
    write_csv("gradings", rows)


if __name__ == "__main__":
    main()
