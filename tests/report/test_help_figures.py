"""Each word of the trade has a picture that is a valid chart and shows the numbers of its words."""

from __future__ import annotations

from pathlib import Path

import pytest
from scipy.integrate import quad
from scipy.stats import binom, norm

from sensory.report.help_figures import counted, picture_of_word
from sensory.report.trade_words import WORDS

from .test_figures import SCHEMA

SCREENS = Path(__file__).parents[2] / "sensory" / "screens"


def drawn(key):
    chart = picture_of_word(key)
    return [row for rows in chart["datasets"].values() for row in rows]


@pytest.mark.parametrize("key", WORDS)
def test_every_word_has_a_valid_picture(key):
    SCHEMA.validate(picture_of_word(key))
    assert WORDS[key].more.startswith("The picture: ")
    assert WORDS[key].short.count(". ") == 0


@pytest.mark.parametrize(
    ("key", "chance", "words"),
    [  # scipy's binomial tails, a route of their own beside the package's incomplete beta
        ("alpha", binom.sf(12, 24, 1 / 3), "3 of 100"),
        ("beta", binom.cdf(28, 66, 1 / 3 + 0.3 * 2 / 3), "5 of 100"),
        ("fair-pass", binom.cdf(8, 24, 1 / 3), "4 of 10 good batches do not pass"),
        ("p", binom.sf(11, 24, 1 / 3), "7 of 100"),
    ],
)
def test_bars_and_words_are_binomial_tails(key, chance, words):
    names = {row["what"] for row in drawn(key)}
    assert any(f"{100 * chance:.1f} %" in name for name in names)
    shown = sum(row["chance"] for row in drawn(key) if "other" not in row["what"])
    assert shown == pytest.approx(chance, abs=1e-3)  # bars below 1e-4 are not drawn
    assert words in WORDS[key].more
    part = 100 * chance if "of 100" in words else 10 * (1 - chance)
    assert words.startswith(f"{part:.0f} of ")


def test_other_numbers_of_the_words():
    assert binom.cdf(28, 66, 1 / 3) == pytest.approx(0.95, abs=0.005)  # fair pass of 66
    assert round(binom.sf(11, 24, 1 / 3), 3) == 0.068
    d = 1.64

    def right(z):  # triangle: the odd sample lies farthest, Thurstone's rule integrated
        root = (2 / 3) ** 0.5
        return norm.cdf(-z * 3**0.5 + d * root) + norm.cdf(-z * 3**0.5 - d * root)

    pc = 2 * quad(lambda z: right(z) * norm.pdf(z), 0, 10)[0]
    assert (pc - 1 / 3) * 1.5 == pytest.approx(0.30, abs=0.002)
    notices = [row["what"] for row in drawn("distinguishers")]
    assert [notices.count(what) for what in dict.fromkeys(notices)] == [30, 23, 47]
    assert sum(row["what"] == "signal" for row in drawn("baseline") if "what" in row) > 0
    rows, share = counted(4, 0.5, range(3, 5))
    assert [row["chance"] for row in rows] == pytest.approx(
        [1 / 16, 4 / 16, 6 / 16, 4 / 16, 1 / 16]
    )
    assert share == pytest.approx(5 / 16)


@pytest.mark.parametrize("key", WORDS)
def test_every_word_has_its_question_mark_on_a_page(key):
    texts = [path.read_text(encoding="utf-8") for path in SCREENS.glob("*.py")]
    asking = [text for text in texts if "import asked" in text]
    assert any(f'"{key}"' in text for text in asking)
