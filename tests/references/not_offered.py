"""Printed values of published.json and the files beside it that the package does not give."""

SORTING = "no sorting of more than two and two"
ONE_WAY = "no one-way layout: everybody scores every sample"
NOT_OFFERED = {
    "sort-3+3": SORTING,
    "sort-4+4": SORTING,
    "sort-5+5": SORTING,
    "sort-6+6": SORTING,
    "mont-cot-F": ONE_WAY,
    "mont-hard-F": ONE_WAY,
    "pv098": "rank sums without the rankings",
}
