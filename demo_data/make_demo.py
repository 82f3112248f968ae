"""Makes the demo sessions of an invented cordial maker. Run it from this folder.

The share of assessors who truly notice stands in `SESSIONS` as `truth`; the seed makes the
ballots come out the same on every machine. Truth and seed were chosen so that the three
sessions end SIMILAR, DIFFERENT and UNDECIDED.
"""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import numpy as np

from sensory import PROTOCOLS, Protocol

HERE = Path(__file__).parent
SEED = 20260911
CAUTIONS = dict.fromkeys(("cleared", "allergens", "consent", "swallowing", "amounts"), True)
CLEARED_BY = "Ida Brandt, food safety officer"
ROUTINE = "regular release analysis passed"
COMMENTS = ("", "", "", "", "", "sharper", "less berry", "a little flat", "", "hard to say")

SESSIONS: dict[str, dict[str, Any]] = {
    "reformulation": {
        "truth": 0.05,
        "assessors": 66,
        "protocol": "TRIANGLE",
        "title": "Blackcurrant cordial, less sugar: is it undetectable?",
        "question": {
            "what_changed": "Sugar reduced by 4 %; nothing else.",
            "decision": "Whether the new recipe replaces the old one without a new label trial.",
            "if_different": "Keep the old recipe; development tries a smaller step.",
            "if_similar": "Change the recipe from the next month on.",
            "if_undecided": "Repeat once with the number of assessors stated, planned anew.",
            "exclusion_rule": "Only assessors who report a cold on the day, before tasting.",
            "retest_rule": "One repeat at most, as a new session.",
        },
        "samples": [
            ["reference", "BC-0811", "2026-08-11", "12 °C, dark"],
            ["reformulation", "BC-T17", "2026-09-02", "12 °C, dark"],
        ],
        "held_on": "2026-09-14",
        "cleared_on": "2026-09-11",
        "serving": "40 ml, diluted 1 + 5 with still water at 14 °C, white cups, red light",
        "leader": "Mira Lund",
        "decides": "Head of development",
    },
    "suspect_batch": {
        "truth": 0.62,
        "assessors": 24,
        "protocol": "TRIANGLE",
        "title": "Elderflower cordial, batch EF-0937: may it go out?",
        "question": {
            "what_changed": "Batch filled after a cleaning fault on line 2. Residue test for the "
            "cleaning agent passed; then cleared by the food safety officer.",
            "decision": "Whether the batch is released.",
            "if_different": "Hold; profile against the reference, then rework or reject.",
            "if_similar": "Release.",
            "if_undecided": "Hold; one planned session of the size stated.",
            "exclusion_rule": "None.",
            "retest_rule": "No second tasting of the same question after a difference.",
        },
        "samples": [
            ["reference", "EF-0915", "2026-09-15", "4 °C, dark, opened on the day"],
            ["suspect batch", "EF-0937", "2026-10-06", "4 °C, dark"],
        ],
        "held_on": "2026-10-07",
        "cleared_on": "2026-10-06",
        "evidence": "residue test of batch and last rinse water for the cleaning agent passed: "
        "none found",
        "serving": "30 ml, diluted 1 + 7 with still water at 12 °C, white cups",
        "leader": "Mira Lund",
        "decides": "Quality manager",
    },
    "new_supplier": {
        "truth": 0.2,
        "assessors": 32,
        "protocol": "DUO_TRIO",
        "title": "Raspberry cordial, citric acid from another supplier",
        "question": {
            "what_changed": "Supplier of the citric acid; specification and dose unchanged.",
            "decision": "Whether the second supplier is approved.",
            "if_different": "Do not approve; ask the supplier for another grade.",
            "if_similar": "Approve.",
            "if_undecided": "Plan a larger session before the end of the month.",
            "exclusion_rule": "None.",
            "retest_rule": "One repeat at most, as a new session.",
        },
        "samples": [
            ["reference", "RB-0902", "2026-09-02", "12 °C, dark"],
            ["second supplier", "RB-T04", "2026-09-21", "12 °C, dark"],
        ],
        "held_on": "2026-09-28",
        "cleared_on": "2026-09-25",
        "serving": "40 ml, diluted 1 + 5 with still water at 14 °C, white cups",
        "leader": "Mira Lund",
        "decides": "Head of purchasing with the quality manager",
    },
}


MISTAKES: dict[str, Any] = SESSIONS["suspect_batch"] | {
    "assessors": 18,
    "title": "Elderflower cordial, ballots typed in a hurry",
}


def ballots(
    protocol: Protocol, assessors: int, truth: float, rng: np.random.Generator
) -> list[dict[str, str]]:
    """Ballots where a share `truth` of people notices and the others guess."""
    orders: list[str] = []
    group = protocol.order_sets[0]
    while len(orders) < assessors:
        orders += [group[i] for i in rng.permutation(len(group))]
    rows = []
    for number, order in enumerate(orders[:assessors], start=1):
        codes = [str(code) for code in rng.choice(np.arange(100, 1000), protocol.coded, False)]
        right = protocol.right_answers(order)[0]
        notices = rng.random() < truth
        guessed = frozenset(rng.choice(protocol.coded, protocol.picks, False).tolist())
        answer = right if notices else guessed
        row = {"assessor": f"P{number:02d}", "protocol": protocol.name, "order": order}
        row |= {f"code_{i}": code for i, code in enumerate(codes, start=1)}
        row["answer"] = " ".join(codes[i] for i in sorted(answer))
        row["guess"] = "x" if not notices and rng.random() < 0.4 else ""
        row["comment"] = str(rng.choice(COMMENTS)) if notices else ""
        rows.append(row)
    return rows


def care(cleared_on: str, evidence: str) -> dict[str, str]:
    """Who cleared the samples, on which day, and on what that rests."""
    return {"cleared_by": CLEARED_BY, "cleared_on": cleared_on, "evidence": evidence}


def write_session(name: str, plan: dict[str, Any], rng: np.random.Generator) -> None:
    """The two files of one session."""
    protocol = PROTOCOLS[plan["protocol"]]
    write_csv(name, ballots(protocol, plan["assessors"], plan["truth"], rng))
    write_words(name, plan)


def write_words(name: str, plan: dict[str, Any]) -> None:
    """Question, samples and circumstances of a session."""
    samples = [
        {
            "letter": letter, "name": name_, "batch": batch, "made_on": made, "storage": storage,
            "preparation": plan["serving"], "allergens": "sulphites above 10 mg/kg",
        }
        for letter, (name_, batch, made, storage) in zip("AB", plan["samples"], strict=True)
    ]  # fmt: skip
    words = {
        "details": {
            "title": plan["title"],
            "samples": samples,
            "held_on": plan["held_on"],
            "place": "tasting room, six booths, 21 °C",
            "leader": plan["leader"],
            "assessors": "staff trained in the test, experience with the product 1 to 9 years",
            "information": "told that two cordials may or may not differ; not what changed",
            "conditions": "identities shown after all ballots were in; water between sets",
            "deviations": "none",
            "decides": plan["decides"],
            "care": care(plan["cleared_on"], plan.get("evidence", ROUTINE)),
        },
        "question": {
            "protocol": plan["protocol"], "alpha": 0.05, "beta": 0.05, "pd_limit": 0.3,
            "assessors": plan["assessors"], **plan["question"],
        },
        "cautions": CAUTIONS,
    }  # fmt: skip
    text = json.dumps(words, indent=2, ensure_ascii=False)
    (HERE / f"{name}.json").write_text(text + "\n", encoding="utf-8")


def write_csv(name: str, rows: list[dict[str, str]]) -> None:
    """A CSV file as a spreadsheet would save it."""
    with (HERE / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def write_mistakes(rng: np.random.Generator) -> None:
    """Eighteen triangles with eight kinds of mistakes; six of them stop the counting."""
    rows = ballots(PROTOCOLS["TRIANGLE"], 18, 0.4, rng)
    rows[2]["answer"] = "512"  # 1 a code that was not served
    rows[4]["assessor"] = "p02"  # 2 a second ballot of P02
    rows[6]["answer"] = ""  # 3 no answer
    rows[8]["code_2"] = rows[8]["code_1"]  # 4 two cups with one code
    rows[10]["order"] = "AAA"  # 5 an order that cannot be
    rows[12]["code_3"] = "4l7"  # 6 a letter for a digit
    rows[14]["answer"] = "no difference"  # 7 an answer that does not exist
    for row in rows:
        row["correct"] = ""
    right = rows[15]["answer"] in {
        rows[15][f"code_{position + 1}"]
        for answer in PROTOCOLS["TRIANGLE"].right_answers(rows[15]["order"])
        for position in answer
    }
    rows[15]["correct"] = "0" if right else "1"  # 8 a wrong claim
    write_csv("mistakes", rows)
    write_words("mistakes", MISTAKES)


def main() -> None:
    """Write every file of this folder."""
    for number, (name, plan) in enumerate(SESSIONS.items()):
        write_session(name, plan, np.random.default_rng([SEED, number]))
    write_mistakes(np.random.default_rng([SEED, len(SESSIONS)]))


if __name__ == "__main__":
    main()
