"""Makes the demo sessions that are no forced choice. Run it from this folder.

The true difference stands in each session as `truth`, in d-prime or in points of the scale;
the seed makes the ballots come out the same on every machine.
"""

from __future__ import annotations

import json
from typing import Any

import numpy as np
from make_demo import CAUTIONS, HERE, ROUTINE, care, write_csv

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


ATTRIBUTES = {
    "sweet": 6.0,
    "sour": 4.5,
    "raspberry": 6.5,
    "cooked": 2.0,
    "bitter": 1.5,
    "body": 5.0,
}


def pressing(truths: dict[str, dict[str, float]], assessors: int, rng: Rng) -> Rows:
    """A profile in two replicates; P04 turns the scale for 'sour' round."""
    own = rng.normal(0, 0.5, (assessors, len(ATTRIBUTES)))
    apart = {sample: rng.normal(0, 0.25, (assessors, len(ATTRIBUTES))) for sample in truths}
    rows = []
    for person in range(assessors):
        for replicate in (1, 2):
            for sample in rng.permutation(list(truths)):
                row = {"assessor": f"P{person + 1:02d}", "sample": str(sample),
                       "replicate": str(replicate)}  # fmt: skip
                for at, (name, level) in enumerate(ATTRIBUTES.items()):
                    moved = truths[str(sample)].get(name, 0.0)
                    moved = -moved if (name, person) == ("sour", 3) else moved
                    score = level + moved + own[person, at] + apart[str(sample)][person, at]
                    row[name] = f"{np.clip(score + rng.normal(0, 0.55), 0, 10):.1f}"
                rows.append(row)
    return rows


def distance(truths: dict[str, float], assessors: int, rng: Rng) -> Rows:
    """Difference from the labelled reference, 0 to 10; the blind reference is never 0."""
    rows = []
    for person in range(assessors):
        habit = rng.uniform(0.4, 1.6)
        for replicate in (1, 2):
            for sample in rng.permutation(list(truths)):
                score = habit + truths[str(sample)] + rng.normal(0, 0.6)
                rows.append(
                    {"assessor": f"P{person + 1:02d}", "sample": str(sample),
                     "replicate": str(replicate), "code": code(rng),
                     "score": f"{np.clip(score, 0, 10):.1f}", "comment": ""}
                )  # fmt: skip
    return rows


def sweeteners(truths: dict[str, float], assessors: int, rng: Rng) -> Rows:
    """Ranks of the aftertaste, 1 for the weakest."""
    rows = []
    for person in range(assessors):
        percepts = {sample: rng.normal(truth) for sample, truth in truths.items()}
        order = sorted(percepts, key=lambda sample: percepts[sample])
        for sample in rng.permutation(list(truths)):
            rows.append(
                {"assessor": f"P{person + 1:02d}", "sample": str(sample), "code": code(rng),
                 "rank": str(order.index(str(sample)) + 1), "comment": ""}
            )  # fmt: skip
    return rows


TICKED = {
    "sweet": 0.7,
    "sour": 0.4,
    "raspberry": 0.8,
    "jammy": 0.15,
    "cooked": 0.1,
    "fresh": 0.5,
    "watery": 0.1,
    "bitter": 0.1,
    "flowery": 0.0,
}


def words(truths: dict[str, dict[str, float]], assessors: int, rng: Rng) -> Rows:
    """Ticks at a list of words; each has a hand of one's own, lighter or heavier."""
    rows = []
    for person in range(assessors):
        hand = rng.normal(0, 0.08)
        for sample in rng.permutation(list(truths)):
            shares = {word: truths[str(sample)].get(word, share) for word, share in TICKED.items()}
            ticked = [
                word for word, share in shares.items() if share and rng.random() < share + hand
            ]
            rows.append(
                {"assessor": f"P{person + 1:02d}", "sample": str(sample), "code": code(rng),
                 "ticked": "; ".join(ticked) or "-", "comment": ""}
            )  # fmt: skip
    return rows


BATCHES = ("SC-0311", "SC-0312", "SC-0313", "SC-0314", "SC-0315", "SC-0316")
CONTROLS = tuple(f"blind control {number}" for number in range(1, 5))
SPIKED = tuple(f"spiked {number}" for number in range(1, 5))


def line_grading(bad: str, rng: Rng) -> Rows:
    """Three graders; the third misses one spiked sample in three, the others one in twelve."""
    rows = []
    for grader, finds in (("G1", 11 / 12), ("G2", 11 / 12), ("G3", 2 / 3)):
        for sample in rng.permutation([*CONTROLS, *SPIKED, *BATCHES]):
            truly = str(sample) in (*SPIKED, bad)
            called = rng.random() < (finds if truly else 0.04)
            rows.append(
                {"assessor": grader, "sample": str(sample), "code": code(rng),
                 "answer": "out" if called else "in",
                 "defect": "metallic" if called and truly else "", "comment": ""}
            )  # fmt: skip
    return rows


STEPS = (0.125, 0.25, 0.5, 1.0, 2.0, 4.0)


def taint(threshold: float, assessors: int, rng: Rng) -> Rows:
    """Three samples a concentration, rising; thresholds of people scatter by a factor of two."""
    rows = []
    for person in range(1, assessors + 1):
        own = np.log2(threshold) + rng.normal()
        for step in STEPS:
            order = str(rng.choice(["AAB", "ABA", "BAA"]))
            codes = [code(rng) for _ in order]
            noticed = rng.random() < 1 / (1 + np.exp(-2.5 * (np.log2(step) - own)))
            named = order.index("B") if noticed else int(rng.integers(3))
            rows.append(
                {"assessor": f"P{person:02d}", "order": order, "sample": f"{step:g} µg/l",
                 **{f"code_{place}": text for place, text in enumerate(codes, start=1)},
                 "answer": codes[named], "comment": ""}
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
        "batches": ["EF-0502", "EF-0502, light"],
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
        "batches": ["GI-0233", "GI-T08"],
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
            "settings": {"grades": "; ".join(GRADES)},
        },
        "samples": ["reference, well water", "softened or filtered"],
        "batches": ["RB-0719", "RB-T21, RB-T22"],
    },
    "pressing": {
        "make": lambda rng: pressing(
            {
                "reference": {},
                "new press": {"cooked": 1.4, "sour": -0.9, "raspberry": -0.3},
                "old press, warm": {"cooked": 0.3, "sour": 1.2},
            },
            10,
            rng,
        ),
        "protocol": "PROFILE",
        "title": "Raspberry cordial from a new press: what moved?",
        "question": {
            "what_changed": "A new press; and the old one run warm.",
            "decision": "Whether the new press replaces the old one.",
            "if_different": "Adjust the press; profile again.",
            "if_similar": "Use the new press.",
            "if_undecided": "A larger session with the attributes in doubt.",
            "settings": {
                "attributes": "; ".join(ATTRIBUTES),
                "reference": "reference",
                "margins": "1",
                "samples": "",
                "scale_low": 0.0,
                "scale_high": 10.0,
            },
        },
        "samples": ["reference, old press", "new press; old press run warm"],
        "batches": ["RB-0726", "RB-T30, RB-T31"],
    },
    "gasket": {
        "make": lambda rng: distance(
            {"blind reference": 0.0, "batch 118": 0.2, "batch 119": 2.4}, 12, rng
        ),
        "protocol": "DIFFERENCE_FROM_CONTROL",
        "title": "Two batches after a worn gasket: how far from the reference?",
        "question": {
            "what_changed": "A gasket of the filler was worn. X-ray and migration test passed; "
            "then cleared by the food safety officer.",
            "decision": "Which of the two batches is released.",
            "if_different": "Hold that batch.",
            "if_similar": "Release it.",
            "if_undecided": "Hold; one planned session more.",
            "settings": {
                "control": "blind reference",
                "limit": 1.5,
                "samples": "",
                "scale_high": 10.0,
            },
        },
        "evidence": "X-ray of the filled bottles passed, no rubber found; migration test passed",
        "samples": ["reference", "batches 118 and 119"],
        "batches": ["RB-0097", "RB-0118, RB-0119"],
    },
    "aftertaste": {
        "make": lambda rng: sweeteners(
            {"sugar": 0.0, "blend 1": 0.3, "blend 2": 1.3, "blend 3": 1.6}, 16, rng
        ),
        "protocol": "RANKING",
        "title": "Four sweetenings of a lemon cordial, ranked by aftertaste",
        "question": {
            "what_changed": "The sweetening.",
            "decision": "Which blends are developed further.",
            "if_different": "Drop the blends that differ from sugar.",
            "if_similar": "Ranking does not show similarity.",
            "if_undecided": "Go on with all of them.",
            "settings": {"attribute": "aftertaste", "reference": "sugar", "expected": ""},
        },
        "samples": ["sugar", "three blends"],
        "batches": ["LE-0310", "LE-T41 to LE-T43"],
    },
    "line_grading": {
        "make": lambda rng: line_grading("SC-0314", rng),
        "protocol": "GRADING",
        "title": "Six batches of sloe cordial graded at the line",
        "question": {
            "what_changed": "Nothing is known to have changed: the batches of the day.",
            "decision": "Which batches go on to release.",
            "if_different": "Hold each batch that is called out.",
            "if_similar": "The batches go on.",
            "if_undecided": "Hold what is open; grade it again with more graders.",
            "assessors": 3,
            "beta": 0.1,
            "settings": {
                "grades": "in; out",
                "out": "",
                "controls": "; ".join(CONTROLS),
                "spiked": "; ".join(SPIKED),
                "samples": "; ".join((*CONTROLS, *SPIKED, *BATCHES)),
                "defects": "metallic: major, hold the batch; flat: minor, blend",
            },
        },
        "samples": ["retained standard", "six batches"],
        "batches": ["SC-0299", "SC-0311 to SC-0316"],
    },
    "taint": {
        "make": lambda rng: taint(0.7, 12, rng),
        "protocol": "RISING_SETS",
        "title": "A taint in sloe cordial: from which concentration on is it noticed?",
        "question": {
            "what_changed": "A substance from a hose, cleared for tasting at these amounts.",
            "decision": "Which concentration may stand in a batch.",
            "if_different": "Hold batches in which more than a tenth of people would notice it.",
            "if_similar": "This test does not show similarity.",
            "if_undecided": "Taste a longer series.",
            "assessors": 12,
            "settings": {
                "concentrations": "; ".join(f"{step:g}" for step in STEPS),
                "unit": "µg/l",
                "blank": "blank",
                "noticed_at": "0.25",
            },
        },
        "evidence": "toxicological assessment passed; amounts cleared by the food safety officer",
        "samples": ["cordial without the substance", "cordial with the substance"],
        "batches": ["SC-0299", "SC-0299"],
    },
    "words": {
        "make": lambda rng: words(
            {
                "reference": {},
                "new press": {"cooked": 0.2, "fresh": 0.45},
                "old press, warm": {"cooked": 0.75, "jammy": 0.7, "fresh": 0.1},
            },
            16,
            rng,
        ),
        "turn": 6,  # its place when its ballots were drawn
        "protocol": "TICKED_WORDS",
        "title": "Raspberry cordial of three pressings: which words apply?",
        "question": {
            "what_changed": "A new press; and the old one run warm.",
            "decision": "Which words the panel defines and scores from now on.",
            "if_different": "Define these words, with reference standards.",
            "if_similar": "Ticks do not show similarity.",
            "if_undecided": "Ask the same words in one more session.",
            "settings": {"words": "; ".join(TICKED), "samples": ""},
        },
        "samples": ["reference, old press", "new press; old press run warm"],
        "batches": ["RB-0726", "RB-T30, RB-T31"],
    },
}


def write_words(name: str, plan: dict[str, Any], ballots: int) -> None:
    """Question, samples and circumstances of a session."""
    samples = [
        {"letter": letter, "name": words, "batch": batch, "made_on": "2026-10-19",
         "storage": "12 °C", "preparation": "40 ml, diluted 1 + 6 with still water at 14 °C",
         "allergens": "sulphites above 10 mg/kg"}
        for letter, words, batch in zip("AB", plan["samples"], plan["batches"], strict=True)
    ]  # fmt: skip
    words = {
        "details": {
            "title": plan["title"],
            "samples": samples,
            "held_on": "2026-11-03",
            "place": "tasting room, six booths, 21 °C",
            "leader": "Mira Lund",
            "assessors": "staff trained in the test",
            "information": "told that samples may or may not differ; not what changed",
            "conditions": "water between samples",
            "deviations": "none",
            "decides": "Quality manager",
            "care": care("2026-11-02", plan.get("evidence", ROUTINE)),
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
        rows = plan["make"](np.random.default_rng([SEED, plan.get("turn", number)]))
        write_csv(name, rows)
        write_words(name, plan, len(rows))


if __name__ == "__main__":
    main()
