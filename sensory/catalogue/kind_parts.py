"""What an entry of the catalogue is made of: words, serving, terms of release."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal, NamedTuple


class KnownTruth(NamedTuple):
    """Of samples with a known truth: spiked ones called out, of how many; good ones likewise."""

    hits: int
    spiked: int
    false_alarms: int
    controls: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """What a ballot says in one language.

    `asks`: may hold ``{attribute}``.
    `in_categories`: asked instead where the scale has categories; empty where it is the same.
    `answers`: what is stored to what is shown, where they differ.
    `beside`: by column, what is asked besides.
    """

    asks: str
    in_categories: str = ""
    answers: Mapping[str, str] = field(default_factory=dict)
    beside: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class ServingRules:
    """How the samples of a test are served.

    `order_sets`: of a test of two samples A and B: sets of orders that a session may use; within a
        set all are served equally often. Empty where a list of samples is served.
    `labelled`: how many leading samples of an order are a labelled reference without a code.
    `reference`: what is served by its name in front of every set, if nothing else is said.
    `has_a`: whether the reference among several samples goes by the name A.
    `splittable`: whether samples are judged one by one, so that a set may go on in a later sitting.
    `replicates`: whether a table of ballots counts replicates.
    `most`: how many of a list of samples one assessor may get in one row.
    `rising`: whether the sets of an assessor come in the order given, and stand in one table.
    `order_column`: the column with the order where a ballot row is a set; empty where it is a cup.
    `codes`: whether the codes of a set stand in columns of their own or in one cell.
    """

    order_sets: tuple[tuple[str, ...], ...] = ()
    labelled: int = 0
    reference: str = ""
    has_a: bool = False
    splittable: bool = False
    replicates: bool = True
    most: int = 12
    rising: bool = False
    order_column: Literal["", "order", "pair"] = ""
    codes: Literal["places", "cell"] = "cell"

    @property
    def compares_two(self) -> bool:
        """Whether two samples A and B are compared, not a list of them."""
        return bool(self.order_sets)

    @property
    def orders(self) -> tuple[str, ...]:
        """Every order that any session may use."""
        return tuple(dict.fromkeys(order for group in self.order_sets for order in group))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ReleaseTerms:
    """How a release rule limits the difference in a test.

    `by`: one limit as share of distinguishers, one limit in points of the scale, a margin for
        each attribute, or the votes of graders, who carry the limit in their spiked samples.
    `many`: whether a session is a tasting of each batch among its samples.
    `settings`: (limit, margins by attribute, name of the batch) to the settings of its question.
    """

    by: Literal["share", "points", "margins", "votes"]
    settings: Callable[[float | None, Mapping[str, float], str], dict[str, Any]]
    many: bool = False
