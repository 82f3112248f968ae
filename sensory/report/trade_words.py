"""The words of the trade in plain words, for the '?' beside each and for the page Help.

The numbers in them are those of the pictures in `help_figures`; tests work each out again.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class TradeWord:
    """A word with its meaning in one sentence, and what to know beside it.

    `key`: in the address of the page Help.
    """

    key: str
    name: str
    short: str
    more: str


WORDS = {
    word.key: word
    for word in (
        TradeWord(
            key="alpha",
            name="alpha",
            short="The risk of a false alarm: a difference is reported where there is none.",
            more="The picture: 24 people in a triangle who notice nothing and guess. 13 or more "
            "correct count as a difference; guessing gets there in 3 of 100 sessions, which is "
            "within an alpha of 5 %. A smaller alpha means fewer false alarms, and more real "
            "differences that are missed.",
        ),
        TradeWord(
            key="beta",
            name="beta",
            short="The risk of a wrong pass: the samples are called similar although the "
            "difference is as large as the agreed limit.",
            more="The picture: 66 triangles where 30 % of people truly notice, which is just the "
            "agreed limit. 28 or fewer correct count as similar; that happens in 5 of 100 "
            "sessions. Beta protects whoever buys the product.",
        ),
        TradeWord(
            key="fair-pass",
            name="fair pass",
            short="A batch that has not changed is shown to be similar, as it should be.",
            more="The picture: 24 triangles and nothing changed. Only 8 or fewer correct show "
            "similarity at a limit of 30 %, so 4 of 10 good batches do not pass. That is no fault "
            "of the batch: the panel is too small. With 66 people 95 of 100 good batches pass.",
        ),
        TradeWord(
            key="distinguishers",
            name="distinguishers",
            short="The share of people who truly notice the difference; all others guess.",
            more="The picture: 100 people in a triangle. 30 notice and are right; of the 70 who "
            "guess 23 are right by luck. So 53 right answers mean 30 % distinguishers. The share "
            "belongs to its test: the same difference is noticed by more people in an easier one.",
        ),
        TradeWord(
            key="d-prime",
            name="d-prime (d')",
            short="How far apart the samples are, measured in how much tasting itself varies.",
            more="The picture: what people perceive of two samples that are a d' of 1.64 apart; in "
            "a triangle 30 % notice that. At d' 0 both curves are the same. d' can be carried from "
            "one test to another, a share of distinguishers cannot.",
        ),
        TradeWord(
            key="limit",
            name="limit",
            short="The largest difference that is still acceptable, agreed before anybody tastes.",
            more="The picture: three results held against a limit of 30 % who notice. Only where "
            "the whole range lies on one side of the limit is anything shown; where it crosses, "
            "the question is open. A limit comes from consumers and customers, never from the "
            "panel's own scatter.",
        ),
        TradeWord(
            key="margin",
            name="margin",
            short="The limit of one attribute: how far its mean may lie from the reference, in "
            "points of the scale.",
            more="The picture: three attributes with a margin of 1 point. 'sour' lies within, "
            "'cooked' beyond, and 'sweet' crosses the margin: more assessors would tell.",
        ),
        TradeWord(
            key="limits",
            name="95 % limits",
            short="The range in which the truth may lie: of 100 such ranges 95 hold it.",
            more="The picture: 20 sessions of 24 triangles on the same two samples. Each comes out "
            "otherwise, though 30 % notice in truth. A range that is wide says that the session "
            "was small, not that the samples vary.",
        ),
        TradeWord(
            key="p",
            name="p",
            short="How often guessing alone would give a result like this or clearer.",
            more="The picture: 12 of 24 triangles correct. Guessing gives 12 or more in 7 of 100 "
            "sessions, so p is 0.068. p says nothing about how large a difference is, and a large "
            "p does not show that the samples are alike.",
        ),
        TradeWord(
            key="blind-control",
            name="blind control",
            short="The reference, served once more under a code, so that expectation can be taken "
            "off the score of the batch.",
            more="The picture: six people score how far the blind control and the batch are from "
            "the open reference. Even the blind control gets a score; what counts is how far the "
            "batch lies above it for the same person.",
        ),
        TradeWord(
            key="baseline",
            name="baseline",
            short="The first batches of each line, which set what is usual there.",
            more="The picture: 20 batches set level and range; the last six lie higher. With all "
            "batches as baseline a change widens the very range that should show it. Known "
            "changes of reference are taken out first.",
        ),
    )
}
"""By their keys, in the order of the page."""
