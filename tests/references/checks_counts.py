"""Rows 2 to 6 of published_checks.json: d-prime, plans in stages, replicates, designs.

Each function takes an entry and gives our numbers in the order in which they are printed, None
where the package has none.
"""

from fractions import Fraction
from itertools import combinations, pairwise

import numpy as np

from sensory.choices.forced_choice import choice_test
from sensory.choices.protocols import PAIRED, THREE_AFC, TRIANGLE, TWO_OUT_OF_FIVE
from sensory.choices.sequential import sequential_plan
from sensory.models.beta_binomial import ReplicateLikelihood
from sensory.models.binomial import least_count, lower_tail, most_count
from sensory.models.stages import binomial_masses, walk
from sensory.serving.blocks import incomplete_blocks
from sensory.serving.squares import williams_squares


def proportion(protocol):
    return lambda entry: [protocol.proportion_correct(entry["inputs"]["dprime"])]


def ballots_until_different(entry):
    """p0 = 0.1 is two out of five by guessing; p1 = 0.3 are 2/9 who distinguish."""
    given = entry["inputs"]
    p0, p1 = given["p0"], given["p1"]
    assert float(TWO_OUT_OF_FIVE.guess) == p0
    plan = sequential_plan(
        TWO_OUT_OF_FIVE,
        most=len(given["answers"]),
        alpha=given["alpha"],
        beta=given["beta"],
        pd_limit=(p1 - p0) / (1 - p0),
    )
    finding, ballots = plan.decide([bool(answer) for answer in given["answers"]])
    assert finding.name == "DIFFERENT"
    return [ballots]


def double_plan(entry):
    """Outcomes of two samples at each p: 'similar' is accepted, 'different' rejected."""
    plan = entry["inputs"]
    sizes, accept = [plan["n1"], plan["n2"]], [plan["c1"], plan["c2"]]
    reject = [plan["r1"], plan["c2"] + 1]
    return [walk(sizes, accept, reject, p) for p in np.atleast_1d(plan["p"])]


def first_sample(entry):
    plan = entry["inputs"]
    first = walk([plan["n1"]], [plan["c1"]], [plan["r1"]], plan["p"])
    return [first.similar, first.different]


def accepted(entry):
    plan = entry["inputs"]
    return lower_tail(plan["c"], plan["n"], plan["p"])


def smallest_single_plan(entry):
    """First n with a count that keeps both risks, by the counts behind the tables."""
    plan = {name: Fraction(str(value)) for name, value in entry["inputs"].items()}
    sizes = np.arange(1, 400)
    accept = least_count(sizes, plan["p1"], 1 - plan["pa1"]) - 1
    place = np.flatnonzero(accept <= most_count(sizes, plan["p2"], plan["pa2"]))[0]
    return [sizes[place], accept[place]]


def plates(entry):
    rows = np.array(entry["inputs"]["dilution_n_y"])
    sets = [rows[rows[:, 0] == dilution] for dilution in (1, 2, 3)]
    return [choice_test(TRIANGLE, each[:, 2].sum(), each[:, 1].sum()).pc for each in (*sets, rows)]


def families(entry):
    given = entry["inputs"]
    counts = np.array(given["boys_0_to_12"], float)
    return ReplicateLikelihood(guess=0.0, tables={given["n"]: counts})


def beta_parameters(entry):
    mean, spread, _ = families(entry).best
    total = 1 / spread - 1
    return [mean * total, (1 - mean) * total]


def boys(entry):
    mean, _ = families(SAXONY).best_equal
    return binomial_masses(entry["inputs"]["n"], mean)


def balance(orders):
    """How often neighbours follow each other and samples stand at a place: least and most."""
    samples = sorted(set(orders[0]))
    follow = {pair: 0 for one in samples for pair in ((one, two) for two in samples if two != one)}
    stand = {(place, one): 0 for place in range(len(samples)) for one in samples}
    for order in orders:
        for pair in pairwise(order):
            follow[pair] += 1
        for place in enumerate(order):
            stand[place] += 1
    return [f(counts.values()) for counts in (follow, stand) for f in (min, max)]


def our_orders(samples):
    return [order for square in williams_squares(samples) for order in square]


def williams(entry):
    """Ours, and what is printed, have the printed balance; for ten only its beginning is."""
    given = entry["inputs"]
    printed = given.get("plan")
    if printed is None:
        first, *others = given["plan_first_rows"]
        printed = [[(sample - 1 + turn) % 10 + 1 for sample in first] for turn in range(10)]
        assert printed[1 : len(others) + 1] == others
    assert balance(printed) == entry["expected"]
    return balance(our_orders(len(printed[0])))


def incomplete(entry):
    """t k r b lambda: of the printed blocks by counting, of ours as the design says."""
    blocks = [tuple(block) for block in entry["inputs"]["blocks"]]
    samples = sorted({sample for block in blocks for sample in block})
    times = {sum(sample in block for block in blocks) for sample in samples}
    met = {sum({a, b} <= set(block) for block in blocks) for a, b in combinations(samples, 2)}
    printed = [len(samples), len(blocks[0]), *times, len(blocks), *met]
    assert printed == entry["expected"]
    ours = incomplete_blocks(len(samples), len(blocks[0]))
    return [ours.samples, ours.set_size, ours.repeats, len(ours.blocks), ours.together]


SAXONY = {
    "inputs": {
        "boys_0_to_12": [3, 24, 104, 286, 670, 1033, 1343, 1112, 829, 478, 181, 45, 7],
        "n": 12,
    }
}

COMPARED = {
    "c2_mafc_pc_2": proportion(PAIRED),
    "c2_mafc_pc_3": proportion(THREE_AFC),
    "c2_mafc_dp_3": lambda entry: [THREE_AFC.dprime(entry["inputs"]["pc"])],
    "c3_sprt_stop": ballots_until_different,
    "c4_probacc2_B": lambda entry: [each.similar for each in double_plan(entry)],
    "c4_asn_full": lambda entry: [each.expected for each in double_plan(entry)],
    "c4_nist_double_equal": lambda entry: [each.similar for each in double_plan(entry)],
    "c4_nist_double_twice": lambda entry: [each.similar for each in double_plan(entry)],
    "c4_nist_asn": first_sample,
    "c4_oc_10_3": accepted,
    "c4_oc_20_0": accepted,
    "c4_find_80_7": smallest_single_plan,
    "c5_crowder_raw": plates,
    "c5_saxony_ll": lambda entry: [families(entry).best[2]],
    "c5_saxony_binom": lambda entry: [families(entry).best_equal[0], None, None],
    "c5_saxony_binom_probs": boys,
    "c6_williams_3": williams,
    "c6_williams_10": williams,
    "c6_williams_size": lambda entry: [len(our_orders(t)) for t in entry["inputs"]["t"]],
    "c6_bib_5_4": incomplete,
    "c6_bib_6_3": incomplete,
    "c6_bib_7_3": incomplete,
    "c6_bib_5_3": incomplete,
    "c6_bib_moore_bliss": incomplete,
}
MISPRINTED = {"c5_saxony_ml": beta_parameters}
PARTLY = {"c5_saxony_binom": "variances of counts are not given out"}
NOT_OFFERED = {
    "c2_mafc_pc_4": "no test with four alternatives",
    "c3_sprt_bounds": "Wald's bounds are kept as counts of correct answers, not as logarithms",
    "c3_sprt_path": "the ratio on the way is not given out, only where it stops",
    "c3_sprt_normal1": "no sequential test of measurements",
    "c3_sprt_normal2": "no sequential test of measurements",
    "c3_nist_lines": "1 and 10 % lie below every guess probability but one",
    "c4_asn_semi": "nobody stops in the middle of a tasting",
    "c4_aoq_norep": "no lots of pieces, hence no outgoing quality",
    "c4_aoq_rep": "no lots of pieces, hence no outgoing quality",
    "c4_ati": "no lots of pieces, hence no total inspection",
    "c4_var_known": "no sampling plan by variables",
    "c4_var_s_35": "no sampling plan by variables",
    "c4_var_s_49": "no sampling plan by variables",
    "c5_crowder_props": "several groups with a common spread are not fitted together",
    "c5_crowder_theta": "several groups with a common spread are not fitted together",
    "c5_crowder_sd": "several groups with a common spread are not fitted together",
    "c5_crowder_ll": "plates of up to 104 seeds; at most 40 replicates a person are taken",
    "c5_saxony_mom": "maximum likelihood only, no moments",
    "c6_bib_5_4_eff": "the efficiency of a design is not given out",
    "c6_bib_6_3_eff": "the efficiency of a design is not given out",
    "c6_rmd_n": "no sequences shorter than the number of samples but incomplete blocks",
    "c6_none_5_5_3": "the plan does not exist; it is refused (test_outside_checks)",
    "c6_joshi_anova": "incomplete blocks are for ranks; no analysis within blocks",
    "c6_joshi_diffs": "incomplete blocks are for ranks; no analysis within blocks",
    "c6_joshi_sed": "incomplete blocks are for ranks; no analysis within blocks",
    "c6_joshi_tukey": "incomplete blocks are for ranks; no analysis within blocks",
}
MISPRINTS_NOT_OFFERED = {
    "c4_probacc2_A": "no sampling without replacement",
    "c6_joshi_p": "incomplete blocks are for ranks; no analysis within blocks",
}
