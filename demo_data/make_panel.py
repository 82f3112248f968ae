"""Makes the invented year of a panel: ten assessors, 24 profiles, 24 times two triangles, training.

Run it from this folder. What is to be found on the page *Panel*, in the record of invented data:

- T03 learns: replicates scatter three times as much as those of the others at first, and as much
  at the end. Nobody names them; their own page says how much less it is lately than before.
- T05 drifts upwards in 'sour', a quarter of a point a month.
- T08 scores 'bitter' the other way round.
- T09 guesses, in profiles and in triangles.
- The six others are sound, and nobody of them is named.
- Five training sessions on 'sour', with three reference standards as targets: T03 begins two points
  too high and is within the range at the end; T09 scatters and is not trained; the others are.

Every profile is of two of the plant's cordials beside its reference, with one sample that is
sweeter and one that is sharper; the triangles are of d-prime 1 to 3. Dates are moved by whole
weeks when the year is put on record, so that it ends with the week before.
"""

from __future__ import annotations

import json
from datetime import date, timedelta
from typing import Any

import numpy as np
from make_demo import CAUTIONS, HERE, ROUTINE, care, write_csv

from sensory import PROTOCOLS

SEED = 20261130
START, SESSIONS = date(2025, 12, 2), 24
PEOPLE = [f"T{number:02d}" for number in range(1, 11)]
LEARNS, DRIFTS, REVERSED, GUESSES = "T03", "T05", "T08", "T09"
ATTRIBUTES = ("sour", "fruity", "bitter")
SAMPLES = {"reference": (5.0, 6.0, 2.5), "sharper": (6.6, 5.4, 4.0), "sweeter": (4.0, 7.2, 2.0)}
SCATTER, GUESSED_SCATTER = 0.5, 1.6
Rng = np.random.Generator
Rows = list[dict[str, str]]


def profile(number: int, rng: Rng) -> Rows:
    """Three samples in three attributes, two replicates."""
    session, rows = f"profile {number + 1}", []
    day = rng.normal(0, 0.3, (len(SAMPLES), len(ATTRIBUTES)))
    for person in PEOPLE:
        own = np.random.default_rng([SEED, int(person[1:])])
        level, use = own.normal(0, 0.5, 3), own.normal(1, 0.1, 3)
        scatter = SCATTER * (3 - 2 * number / (SESSIONS - 1) if person == LEARNS else 1)
        if person == REVERSED:
            use[2] = -0.8
        if person == DRIFTS:
            level[0] += 0.25 * number / 2
        if person == GUESSES:
            use, scatter = np.zeros(3), GUESSED_SCATTER
        for replicate in (1, 2):
            for at, (sample, truth) in enumerate(SAMPLES.items()):
                away = np.array(truth) + day[at] - np.mean(list(SAMPLES.values()), 0)
                score = np.mean(list(SAMPLES.values()), 0) + level + use * away
                told = np.clip(score + rng.normal(0, scatter, 3), 0, 10)
                numbers = dict(zip(ATTRIBUTES, (f"{each:.1f}" for each in told), strict=True))
                rows.append({"session": session, "assessor": person, "sample": sample,
                             "replicate": str(replicate), **numbers})  # fmt: skip
    return rows


def triangles(number: int, rng: Rng) -> Rows:
    """Two triangles each."""
    protocol, rows = PROTOCOLS["TRIANGLE"], []
    chance = float(protocol.proportion_correct(1.0 + number % 3))
    orders = rng.permutation(["ABB", "BAB", "BBA", "AAB", "ABA", "BAA"] * 4)
    for at in range(2 * len(PEOPLE)):
        person, order = PEOPLE[at // 2], str(orders[at])
        codes = [str(code) for code in rng.choice(np.arange(100, 1000), 3, False)]
        odd = min(range(3), key=lambda place: order.count(order[place]))
        right = rng.random() < (1 / 3 if person == GUESSES else chance)
        others = [place for place in range(3) if place != odd]
        answer = codes[odd if right else int(rng.choice(others))]
        rows.append(
            {"session": f"triangles {number + 1}", "assessor": person,
             "replicate": str(at % 2 + 1), "order": order, "codes": " ".join(codes),
             "answer": answer}
        )  # fmt: skip
    return rows


STANDARDS = {"sour low": 2.0, "sour middle": 5.0, "sour high": 8.0}
TRAININGS = 5


def training(number: int, rng: Rng) -> Rows:
    """Three reference standards in one attribute, two replicates."""
    rows = []
    for person in PEOPLE:
        off = max(0.0, 2.0 - number) if person == LEARNS else 0.0
        scatter = GUESSED_SCATTER if person == GUESSES else 0.35
        for replicate in (1, 2):
            for sample, target in STANDARDS.items():
                mark = np.clip(target + off + rng.normal(0, scatter), 0, 10)
                rows.append({"session": f"training {number + 1}", "assessor": person,
                             "sample": sample, "replicate": str(replicate),
                             "sour": f"{mark:.1f}"})  # fmt: skip
    return rows


def trained() -> dict[str, Any]:
    """The word that is trained, with its reference standards, and the days."""
    standards = [
        {"name": name, "recipe": f"citric acid, {0.2 * intensity:.1f} g in 1 l of water",
         "intensity": intensity, "low": intensity - 0.5, "high": intensity + 0.5,
         "allergens": "none"}
        for name, intensity in STANDARDS.items()
    ]  # fmt: skip
    last = START + timedelta(days=15 * (SESSIONS - 1))
    return {
        "word": {
            "attribute": "sour", "definition": "taste as of citric acid in water",
            "assess": "first sip, whole mouth", "standards": standards,
        },
        "held_on": [(last - timedelta(days=6 - n)).isoformat() for n in range(TRAININGS)],
    }  # fmt: skip


def words() -> dict[str, Any]:
    """The people, and what all sessions have in common."""
    sample = {"batch": "GG-0311", "made_on": "2025-11-10", "storage": "4 °C, dark",
              "preparation": "40 ml, diluted 1 + 6 with still water at 14 °C",
              "allergens": "none of those that have to be declared"}  # fmt: skip
    names = {"letter": "A", "name": "reference"}, {"letter": "B", "name": "sharper; sweeter"}
    question = {
        "alpha": 0.05, "beta": 0.05, "what_changed": "Acid and sugar, on purpose.",
        "decision": "None: the panel keeps in practice.", "if_different": "Go on as planned.",
        "if_similar": "Take a larger step next time.", "if_undecided": "Go on as planned.",
        "exclusion_rule": "None.", "retest_rule": "No second tasting of the same question.",
    }  # fmt: skip
    profiled = {"attributes": "; ".join(ATTRIBUTES), "reference": "reference", "margins": "1",
                "samples": "", "scale_low": 0.0, "scale_high": 10.0}  # fmt: skip
    days = [(START + timedelta(days=15 * number)).isoformat() for number in range(SESSIONS)]
    later = [(START + timedelta(days=15 * number + 7)).isoformat() for number in range(SESSIONS)]
    return {
        "panel": "morning panel",
        "product": "Gooseberry cordial",
        "people": {name: "in training" if name == LEARNS else "assessor" for name in PEOPLE},
        "details": {
            "place": "tasting room, six booths, 21 °C", "leader": "Mira Lund",
            "assessors": "the ten of the morning panel",
            "information": "told that samples may or may not differ", "deviations": "none",
            "conditions": "water between samples", "decides": "Panel leader",
            "samples": [letter | sample for letter in names],
            "care": care(START.isoformat(), ROUTINE),
        },
        "cautions": CAUTIONS,
        "scores": {
            "title": "Gooseberry cordial, three samples in three attributes",
            "question": question | {"protocol": "PROFILE", "assessors": 60, "settings": profiled},
            "held_on": days,
        },
        "choices": {
            "title": "Gooseberry cordial, triangles",
            "question": question | {"protocol": "TRIANGLE", "pd_limit": 0.3, "assessors": 20},
            "held_on": later,
        },
        "training": trained(),
    }  # fmt: skip


def main() -> None:
    """Write the four files."""
    scores, choices = [], []
    for number in range(SESSIONS):
        scores += profile(number, np.random.default_rng([SEED, 100 + number]))
        choices += triangles(number, np.random.default_rng([SEED, 200 + number]))
    write_csv("panel_scores", scores)
    write_csv("panel_choices", choices)
    marks = [training(n, np.random.default_rng([SEED, 300 + n])) for n in range(TRAININGS)]
    write_csv("panel_training", [row for rows in marks for row in rows])
    text = json.dumps(words(), indent=2, ensure_ascii=False)
    (HERE / "panel_year.json").write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
