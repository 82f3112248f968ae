"""Intervals and small tables."""

from __future__ import annotations

import pytest

from sensory.base.results import Interval, Table, digits, p_digits


@pytest.mark.parametrize(
    ("low", "high", "level", "said"),
    [
        (0.1, 0.4, 0.95, "0.1 to 0.4 (95 %)"),
        (0.123456, 1.0, 0.999, "0.1235 to 1 (99.9 %)"),
        (0, 3, 0.9, "0 to 3 (90 %)"),
        (0.0, float("inf"), 0.95, "0 to infinite (95 %)"),
    ],
)
def test_interval_in_words(low, high, level, said):
    assert str(Interval(low=low, high=high, level=level)) == said


TABLE = Table(
    columns=("quantity", "estimate"),
    rows=(("correct answers", 22), ("d-prime", 0.123456789), ("upper limit", None)),
)


def test_table_as_text_is_aligned_and_rounded():
    assert str(Table(columns=("a", "b"), rows=())) == "a  b"
    assert str(TABLE) == (
        "quantity         estimate\ncorrect answers  22\nd-prime          0.1235\nupper limit"
    )


def test_records_keep_all_digits():
    assert TABLE.records() == [
        {"quantity": "correct answers", "estimate": 22},
        {"quantity": "d-prime", "estimate": 0.123456789},
        {"quantity": "upper limit", "estimate": None},
    ]


def test_row_of_another_length_is_refused():
    with pytest.raises(ValueError, match="zip"):
        Table(columns=("a", "b"), rows=((1,),)).records()


def test_html():
    assert TABLE._repr_html_() == (
        "<table><thead><tr><th>quantity</th><th>estimate</th></tr></thead><tbody>"
        "<tr><td>correct answers</td><td>22</td></tr>"
        "<tr><td>d-prime</td><td>0.1235</td></tr>"
        "<tr><td>upper limit</td><td></td></tr></tbody></table>"
    )


def test_html_of_headings_and_cells_is_escaped():
    page = Table(columns=("<b>&",), rows=(("<script>'\"",),))._repr_html_()
    assert "<th>&lt;b&gt;&amp;</th>" in page
    assert "<td>&lt;script&gt;&#x27;&quot;</td>" in page
    assert "<script" not in page


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        # A spread that is rounding noise, and numbers that need no exponent.
        (1.306e-19, "0"), (-2e-12, "0"), (0.000421, "0.00042"), (-0.5, "-0.5"),
        (123456.7, "123457"), (0.99996, "1"), (9.9996, "10"), (1234567.0, "1234567"),
    ],
)  # fmt: skip
def test_numbers_have_the_digits_of_people(value, shown):
    assert digits(value) == shown
    assert Table(columns=("estimate",), rows=((value,),)).texts() == [[shown]]


@pytest.mark.parametrize(
    ("p", "shown"),
    [(2e-19, "< 0.001"), (0.00099, "< 0.001"), (0.00123, "0.0012"), (0.00997, "0.010"),
     (0.0123, "0.012"), (0.0997, "0.10"), (0.5, "0.50"), (1.0, "1.00")],
)  # fmt: skip
def test_p_has_two_significant_digits(p, shown):
    assert p_digits(p) == shown
    table = Table(columns=("quantity", "estimate", "p_holm"), rows=(("p, difference", p, p),))
    assert table.texts() == [["p, difference", shown, shown]]
