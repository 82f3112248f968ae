"""Makes the demo sessions that are no forced choice. Run it from this folder.

The true difference stands in each session as `truth`, in d-prime or in points of the scale;
the seed makes the ballots come out the same on every machine.
"""

from __future__ import annotations

import json
from typing import Any

import numpy as np
from make_demo import CAUTIONS, HERE, write_csv

SEED = 20261103
Rng = np.random.Generator
Rows = list[dict[str, str]]
GRADES = ("surely A", "perhaps A", "perhaps not A", "surely not A")


def code(rng: Rng) -> str:
    return str(int(rng.integers(100, 1000)))


def shop_light(truth: float, assessors: int, rng: Rng) -> Rows:
    """Each judges one A and one B; a criterion of one's own."""
    rows = []
    for person in range(1, assessors + 1):
        criterion = rng.normal(truth / 2, 0.4)
        for sample in rng.permutation(["A", "B"]):
            percept = rng.normal(truth if sample == "B" else 0.0)
            answer = "not A" if percept > criterion else "A"
            rows.append(
                {"assessor": f"P{person:02d}", "sample": str(sample), "code": code(rng),
                 "answer": answer, "comment": ""}
            )  # fmt: skip
    rows[7]["answer"] = ""
    return rows


def new_thickener(truth: float, assessors: int, rng: Rng) -> Rows:
    """One pair each, the four pairs equally often; 'different' from a gap of 1.4 on."""
    rows = []
    pairs = rng.permutation(["AA", "BB", "AB", "BA"] * (assessors // 4))
    for person, pair in enumerate(pairs, start=1):
        first, second = (rng.normal(truth * (letter == "B")) for letter in str(pair))
        answer = "different" if abs(first - second) > 1.4 else "same"
        rows.append(
            {"assessor": f"P{person:02d}", "pair": str(pair),
             "codes": f"{code(rng)} {code(rng)}", "answer": answer, "comment": ""}
        )  # fmt: skip
    return rows


def water(truths: dict[str, float], assessors: int, rng: Rng) -> Rows:
    """Each grades the reference and every product once."""
    rows = []
    for person in range(1, assessors + 1):
        own = rng.normal(0, 0.3)
        for sample in rng.permutation(["A", *truths]):
            percept = rng.normal(truths.get(str(sample), 0.0)) - own
            grade = int(np.searchsorted([-0.3, 0.5, 1.3], percept))
            rows.append(
                {"assessor": f"P{person:02d}", "sample": str(sample), "code": code(rng),
                 "answer": GRADES[grade], "comment": ""}
            )  # fmt: skip
    return rows


SESSIONS: dict[str, dict[str, Any]] = {
    "shop_light": {
        "make": lambda rng: shop_light(1.9, 24, rng),
        "protocol": "A_NOT_A",
        "title": "Elderflower cordial after six months in shop light: still the reference?",
        "question": {
            "what_changed": "Six months in a lit shelf instead of a dark store.",
            "decision": "Whether the clear bottle may stay.",
            "if_different": "Brown glass, or a shorter best-before date.",
            "if_similar": "This test does not show similarity.",
            "if_undecided": "A triangle session with the number of assessors planned for it.",
        },
        "samples": ["reference, dark store", "six months in light"],
    },
    "new_thickener": {
        "make": lambda rng: new_thickener(2.6, 60, rng),
        "protocol": "SAME_DIFFERENT",
        "title": "Ginger cordial, another thickener: one pair each, because it lingers",
        "question": {
            "what_changed": "Pectin instead of xanthan.",
            "decision": "Whether the thickener is changed.",
            "if_different": "Keep xanthan.",
            "if_similar": "Change to pectin.",
            "if_undecided": "Plan a larger session; no second tasting of this one.",
            "settings": {"dprime_limit": 1.5},
        },
        "samples": ["reference, xanthan", "pectin"],
    },
    "water": {
        "make": lambda rng: water({"softened": 0.25, "filtered": 1.6}, 30, rng),
        "protocol": "SURENESS",
        "title": "Raspberry cordial with two other waters, graded by sureness",
        "question": {
            "what_changed": "The process water: softened, or filtered through charcoal.",
            "decision": "Which of the two may be used when the well is serviced.",
            "if_different": "Do not use that water.",
            "if_similar": "Use it.",
            "if_undecided": "A triangle session with that water alone.",
            "settings": {"grades": "; ".join(GRADES), "dprime_limit": 1.0},
        },
        "samples": ["reference, well water", "softened or filtered"],
    },
}


def write_words(name: str, plan: dict[str, Any], ballots: int) -> None:
    """Question, samples and circumstances of a session."""
    samples = [
        {"letter": letter, "name": words, "batch": "", "made_on": "2026-10-19",
         "storage": "12 °C", "preparation": "40 ml, diluted 1 + 6 with still water at 14 °C",
         "allergens": "sulphites above 10 mg/kg"}
        for letter, words in zip("AB", plan["samples"], strict=True)
    ]  # fmt: skip
    words = {
        "details": {
            "title": plan["title"],
            "samples": samples,
            "held_on": "2026-11-03",
            "place": "tasting room, six booths, 21 °C",
            "leader": "Panel leader",
            "assessors": "staff trained in the test",
            "information": "told that samples may or may not differ; not what changed",
            "conditions": "water between samples",
            "deviations": "none",
            "decides": "Quality manager",
        },
        "question": {
            "protocol": plan["protocol"],
            "alpha": 0.05,
            "beta": 0.05,
            "assessors": ballots,
            "exclusion_rule": "None.",
            "retest_rule": "No second tasting of the same question.",
            **plan["question"],
        },
        "cautions": CAUTIONS,
    }
    text = json.dumps(words, indent=2, ensure_ascii=False)
    (HERE / f"{name}.json").write_text(text + "\n", encoding="utf-8")


def main() -> None:
    """Write the files of these sessions."""
    for number, (name, plan) in enumerate(SESSIONS.items()):
        rows = plan["make"](np.random.default_rng([SEED, number]))
        write_csv(name, rows)
        write_words(name, plan, len(rows))


if __name__ == "__main__":
    main()
