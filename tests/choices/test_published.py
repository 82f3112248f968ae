"""Every published value about forced-choice tests, cell by cell.

The values, with source and with how each was seen, are in tests/references/published.json.
"""

from fractions import Fraction
from math import comb, sqrt

import numpy as np
import pytest

from sensory.choices.a_not_a import a_not_a
from sensory.choices.counts import critical_counts, similar_counts
from sensory.choices.forced_choice import choice_test
from sensory.choices.protocols import DUO_TRIO, PAIRED, TETRAD, THREE_AFC, TRIANGLE, TWO_OUT_OF_FIVE
from sensory.choices.risks import next_deciding_size, session_risks
from sensory.choices.size import panel_size
from sensory.models.binomial import exact_upper_tail

from ..references.not_offered import NOT_OFFERED
from ..references.readers import entries

ENTRIES = entries("published.json", "tables", "values")
MISPRINTS = entries("published.json", "misprints")

# How a published entry names its method, and the protocols that it speaks of.
SPEAKS_OF = {
    "triangle": (TRIANGLE,),
    "duo-trio": (DUO_TRIO,),
    "paired comparison": (PAIRED,),
    "paired comparison, one-sided": (PAIRED,),
    "duo-trio / paired one-sided": (DUO_TRIO, PAIRED),
    "paired/duo-trio similarity": (DUO_TRIO, PAIRED),
}
CRITICAL_TABLES = (
    "triangle_critical_counts",
    "duo_trio_critical_counts",
    "paired_critical_counts_one_sided",
)
CRITICAL_VALUES = tuple(f"pv{i:03}" for i in (*range(1, 17), *range(19, 31)))
SIMILAR_VALUES = ("pv031", "pv032", "pv033", "pv035", "pv036", "pv037", "pv038")
SIZE_BLOCKS = ("pv040", "pv041", "pv042", "pv043", "pv046", "pv047", "pv048")
CHECKED_ONE_BY_ONE = (
    "paired_similar_counts",
    "triangle_quinine",
    "link_at_one",
    "triangle_sizes",
    "triangle_critical_12_to_24",
    "pv039",
    "pv118",
    *(f"pv{i:03}" for i in range(60, 67)),
)


def by_protocol(ids):
    return [
        pytest.param(ENTRIES[i], protocol, id=f"{i}-{protocol.key}")
        for i in ids
        for protocol in SPEAKS_OF[ENTRIES[i]["method"]]
    ]


def test_every_entry_is_checked_somewhere():
    checked = (*CRITICAL_TABLES, *CRITICAL_VALUES, *SIMILAR_VALUES, *SIZE_BLOCKS)
    left = NOT_OFFERED.keys() & ENTRIES.keys()
    assert not left & {*checked, *CHECKED_ONE_BY_ONE}
    assert set(ENTRIES) == {*checked, *CHECKED_ONE_BY_ONE, *left}
    assert [len(ENTRIES[i]["rows"]) for i in CRITICAL_TABLES] == [176, 200, 120]


@pytest.mark.parametrize(("entry", "protocol"), by_protocol(CRITICAL_TABLES))
def test_table_of_critical_counts(entry, protocol):
    assessors, alpha, printed = zip(*entry["rows"], strict=True)
    assert critical_counts(protocol, assessors, alpha).tolist() == list(printed), entry["source"]


@pytest.mark.parametrize(("entry", "protocol"), by_protocol(CRITICAL_VALUES))
def test_critical_counts(entry, protocol):
    assessors, alpha = np.array(entry["inputs"]["n"]), np.array(entry["inputs"]["alpha"])
    ours = critical_counts(protocol, assessors[..., None], alpha)
    assert ours.tolist() == entry["value"], entry["source"]


def test_critical_counts_of_twelve_to_twenty_four():
    entry = ENTRIES["triangle_critical_12_to_24"]  # from memory, as the entry says
    sizes = [int(size) for size in entry["value"]]
    ours = critical_counts(TRIANGLE, np.array(sizes)[:, None], entry["inputs"]["columns"])
    assert ours.tolist() == list(entry["value"].values()), entry["source"]
    assert ours.size == 39
    for size, row in zip(sizes, ours.tolist(), strict=True):
        for alpha, count in zip(entry["inputs"]["columns"], row, strict=True):
            tails = [exact_upper_tail(x, size, Fraction(1, 3)) for x in (count, count - 1)]
            assert tails[0] <= Fraction(str(alpha)) < tails[1]


@pytest.mark.parametrize("row", ENTRIES["paired_similar_counts"]["rows"], ids=str)
def test_table_of_similar_counts(row):
    assessors, beta, limit, printed = row
    source = ENTRIES["paired_similar_counts"]["source"]
    assert similar_counts(PAIRED, assessors, beta, limit) == printed, source


@pytest.mark.parametrize("row", ENTRIES["paired_similar_counts"]["disagree"], ids=str)
def test_doubtful_cells_of_the_similar_counts_are_not_taken_over(row):
    # The printed cells of beta = 0.001 read one lower than the exact binomial allows.
    assessors, beta, limit, printed, exact = row
    ours = similar_counts(PAIRED, assessors, beta, limit)
    assert ours == exact != printed
    wrong = Fraction(1, 2) * (1 - Fraction(str(limit)))
    assert exact_upper_tail(assessors - ours, assessors, wrong) <= Fraction(1, 1000)
    assert exact_upper_tail(assessors - ours - 1, assessors, wrong) > Fraction(1, 1000)


@pytest.mark.parametrize(("entry", "protocol"), by_protocol(SIMILAR_VALUES))
def test_similar_counts(entry, protocol):
    assessors, beta = entry["inputs"]["n"], entry["inputs"]["beta"]
    ours = [similar_counts(protocol, assessors, beta, limit) for limit in entry["inputs"]["pd"]]
    for count, printed in zip(ours, entry["value"], strict=True):
        # The standard prints a dash where the count lies below half of the answers.
        right = count < assessors / 2 if printed is None else count == printed
        assert right, f"{count} for {printed}; {entry['source']}: {entry['note']}"


@pytest.mark.parametrize("beta", ENTRIES["pv039"]["inputs"]["beta"])
def test_upper_limit_of_an_even_split_tends_to_the_large_sample_formula(beta):
    # The formula of the standard solved for z; at a million answers evenly split the exact
    # limit and the large-sample limit have to meet.
    entry = ENTRIES["pv039"]
    z = dict(zip(entry["inputs"]["beta"], entry["value"], strict=True))[beta]
    n, x = 1_000_000, 500_000
    upper = choice_test(PAIRED, x, n, beta=beta).pd_upper
    effective = (upper - (2 * x / n - 1)) / (2 * sqrt((n * x - x**2) / n**3))
    assert effective == pytest.approx(z, abs=entry["tolerance"], rel=0), entry["source"]


@pytest.mark.parametrize(("entry", "protocol"), by_protocol(SIZE_BLOCKS))
def test_blocks_of_sizes(entry, protocol):
    alphas, betas = entry["inputs"]["alpha"], entry["inputs"]["beta"]
    limit, smallest = entry["inputs"]["pd"], np.array([0])
    first = panel_size(protocol, alpha=np.array(alphas)[:, None], beta=betas, pd=limit)
    assert first.assessors.tolist() == entry["value"], f"{entry['source']} ({entry['seen']})"
    ours = [
        [int(next_deciding_size(protocol, smallest, a, b, limit)[0]) for b in betas] for a in alphas
    ]
    assert ours == entry["value"], f"{entry['source']} ({entry['seen']}): {entry['note']}"


@pytest.mark.parametrize("row", ENTRIES["triangle_sizes"]["rows"], ids=str)
def test_triangle_sizes(row):
    alpha, beta, limit, assessors = row
    risks = session_risks(TRIANGLE, 1, alpha=alpha, beta=beta, pd_limit=limit)
    # From memory, as the entry says.
    assert risks.deciding_size == assessors, ENTRIES["triangle_sizes"]["source"]
    first = panel_size(TRIANGLE, alpha=alpha, beta=beta, pd=limit).assessors
    assert first == assessors, ENTRIES["triangle_sizes"]["source"]


def test_chances_of_grouping_two_and_two_and_of_two_out_of_five():
    entry = ENTRIES["pv060"]
    printed = entry["value"][entry["inputs"]["groups"].index("2+2")]
    assert float(TETRAD.guess) == pytest.approx(printed, abs=entry["tolerance"]), entry["source"]
    entry = ENTRIES["pv061"]
    assert float(TWO_OUT_OF_FIVE.guess) == entry["value"], entry["source"]


def test_eleven_of_twenty_is_significant():
    entry = ENTRIES["pv062"]
    n, x = entry["inputs"]["n"], entry["inputs"]["x"]
    result = choice_test(TRIANGLE, [x - 1, x], n)
    assert (result.p_difference < 0.05).tolist() == [False, True], entry["source"]


def test_quinine_by_triangle_and_by_the_large_sample_z():
    entry = ENTRIES["triangle_quinine"]
    result = choice_test(TRIANGLE, entry["inputs"]["correct"], entry["inputs"]["trials"])
    assert result.p_difference == pytest.approx(entry["value"], abs=entry["tolerance"], rel=0)
    entry = ENTRIES["pv063"]  # z from memory, as the entry says
    n, x = entry["inputs"]["n"], entry["inputs"]["x"]
    guess = float(TRIANGLE.guess)
    z = (choice_test(TRIANGLE, x, n).pc - guess) / sqrt(guess * (1 - guess) / n)
    assert z == pytest.approx(entry["value"], abs=entry["tolerance"]), entry["source"]


@pytest.mark.parametrize("name", ["pv064", "pv065"])
def test_tail_to_the_last_printed_digit(name):
    entry = ENTRIES[name]
    x, n = entry["inputs"]["x"], entry["inputs"]["n"]
    result = choice_test(TRIANGLE, x, n)
    expected = pytest.approx(entry["value"], abs=entry["tolerance"], rel=0)
    assert result.p_difference == expected, entry["source"]  # from memory, as the entry says
    assert result.p_difference == pytest.approx(float(exact_upper_tail(x, n, Fraction(1, 3))))


def test_attained_alpha_and_power():
    entry = ENTRIES["pv066"]
    alpha, power = entry["value"]
    risks = session_risks(TRIANGLE, entry["inputs"]["n"], pd_limit=1 / 3)
    assert risks.critical_count == entry["inputs"]["crit"], entry["source"]
    assert risks.false_alarm == pytest.approx(alpha, abs=5e-9, rel=0), entry["source"]
    assert risks.power == pytest.approx(power, abs=entry["tolerance"], rel=0), entry["source"]
    n, crit = entry["inputs"]["n"], entry["inputs"]["crit"]  # from memory: by whole fractions
    exact = [exact_upper_tail(crit, n, pc) for pc in (Fraction(1, 3), Fraction(5, 9))]
    assert [risks.false_alarm, risks.power] == pytest.approx([float(p) for p in exact])


def test_all_eight_cups():
    entry = ENTRIES["pv118"]  # from memory: 1 of 70 ways to choose four cups of eight
    found = a_not_a(4, 4, 0, 4)
    assert found.p_fisher == pytest.approx(entry["value"], abs=entry["tolerance"]), entry["source"]
    assert found.p_fisher == pytest.approx(1 / comb(8, 4), rel=1e-12)


AT_ONE = {"triangle": TRIANGLE, "duo_trio": DUO_TRIO, "two_afc": PAIRED, "three_afc": THREE_AFC}


@pytest.mark.parametrize(("name", "protocol"), AT_ONE.items())
def test_proportion_correct_at_dprime_one(name, protocol):
    entry = ENTRIES["link_at_one"]  # from memory, as the entry says
    expected = pytest.approx(entry["value"][name], abs=entry["tolerance"])
    assert float(protocol.proportion_correct(1.0)) == expected, entry["source"]


@pytest.mark.parametrize("entry", MISPRINTS.values(), ids=MISPRINTS)
@pytest.mark.parametrize("protocol", [DUO_TRIO, PAIRED], ids=repr)
def test_misprints_are_not_reproduced(entry, protocol):
    n, alpha = entry["inputs"]["n"], entry["inputs"]["alpha"]
    ours = critical_counts(protocol, n, alpha)
    assert ours == entry["recomputed"] != entry["value"], entry["note"]
    assert exact_upper_tail(entry["value"], n, protocol.guess) > Fraction(str(alpha))
