"""A serving plan: every cup of a session, its key, its balance, and late or missing assessors."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, fields, replace

from ..base.errors import ArgumentError
from ..base.plain import Plain
from ..base.records import digest_of
from ..base.results import Table
from ..base.shown import Shown
from .balance import balance_table, balance_words, evenness_table
from .chance import Draw
from .codes import blinding_codes
from .dealing import Choices, deal, next_orders
from .layout import Course, ServedSet, ServingDesign, ServingRow, rows_of, served_sets
from .squares import williams_squares

LETTERS_OF_SETS = "ABCDEFGHIJKL"


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class ServingPlan(Plain, Shown):
    """Result of `serving_plan`.

    Attributes
    ----------
    design : ServingDesign
        Test, samples, sittings and possible orders.
    assessors : tuple of str
        Those who are served; late ones at the end.
    seed : int
        Gives the plan again, with the number of assessors; whoever has it has the key.
    rows : tuple of ServingRow
        One a cup: assessor by assessor, first served first.
    changes : tuple of (str, str)
        'late' or 'without', and who; in the order in which it happened.
    """

    design: ServingDesign
    assessors: tuple[str, ...]
    seed: int
    rows: tuple[ServingRow, ...]
    changes: tuple[tuple[str, str], ...] = ()

    @property
    def sets(self) -> tuple[ServedSet, ...]:
        """Every set of every assessor: its order, and its codes as they are served."""
        return tuple(served_sets(self.rows))

    @property
    def codes(self) -> dict[str, tuple[str, ...]]:
        """The codes of each assessor, for `used_codes` of the next plan."""
        codes: dict[str, tuple[str, ...]] = dict.fromkeys(self.assessors, ())
        for row in self.rows:
            if row.code:
                codes[row.assessor] += (row.code,)
        return codes

    @property
    def balance(self) -> Table:
        """Counts of orders, positions and carry-over; see `balance.balance_table`."""
        return balance_table(self.design, self.rows)

    @property
    def evenness(self) -> Table:
        """The fewest and the most times in each part of `balance`."""
        return evenness_table(self.balance)

    @property
    def balance_words(self) -> str:
        """Whether it is balanced, in a sentence."""
        return balance_words(self.evenness)

    @property
    def digest(self) -> str:
        """SHA-256 of the whole plan in a fixed spelling, 64 hexadecimal digits."""
        return digest_of(self.to_dict())

    def summary(self) -> Table:
        """All rows, for whoever prepares and serves; it names the samples."""
        columns = tuple(entry.name for entry in fields(ServingRow))
        rows = (tuple(getattr(row, name) for name in columns) for row in self.rows)
        return Table(columns=columns, rows=tuple(rows))

    def key(self) -> Table:
        """Which sample is under which code, for the server only; never on a booth page."""
        rows = sorted(
            (row.assessor, row.sitting, row.set, row.code, row.sample)
            for row in self.rows
            if row.code
        )
        order = {name: place for place, name in enumerate(self.assessors)}
        rows.sort(key=lambda row: order[row[0]])
        return Table(columns=("assessor", "sitting", "set", "code", "sample"), rows=tuple(rows))

    def for_assessor(self, assessor: str) -> Table:
        """What one assessor finds, first served first, without the key.

        Returns
        -------
        Table
            Columns `sitting`, `set`, `replicate`, `position`, `code`; a labelled reference
            has 'reference' for a code.

        Raises
        ------
        ArgumentError
            When nobody of that name is in the plan.
        """
        self._there(assessor)
        rows = (
            (row.sitting, row.set, row.replicate, row.position, row.code or "reference")
            for row in self.rows
            if row.assessor == assessor
        )
        return Table(columns=("sitting", "set", "replicate", "position", "code"), rows=tuple(rows))

    def with_late(self, assessor: str, *, used_codes: Iterable[str] = ()) -> ServingPlan:
        """The plan with one more assessor; orders and codes of the others stay.

        The assessor gets the orders that were served least so far, so the balance is kept as
        well as it can be, and what a missing assessor left is filled first.

        Parameters
        ----------
        assessor : str
        used_codes : iterable of str
            Codes of this assessor's last sitting, which do not come again.

        Raises
        ------
        ArgumentError
            When the name is empty or in the plan already, or too few codes are left.

        Examples
        --------
        >>> from sensory.serving.planning import serving_plan
        >>> plan = serving_plan("triangle", 5, seed=7)
        >>> later = plan.with_late("P06")
        >>> sorted(served.order for served in later.sets)
        ['AAB', 'ABA', 'ABB', 'BAA', 'BAB', 'BBA']
        """
        name = assessor_names([assessor])[0]
        if name.casefold() in {known.casefold() for known in self.assessors}:
            raise ArgumentError(f"assessor {name!r} is in the plan already.")
        turn = str(len(self.changes))
        course = self._late_course(Draw(self.seed, "orders", "late", name, turn))
        draw = Draw(self.seed, "codes", "late", turn)
        codes = blinding_codes(self.design.coded, draw=draw, used=used_codes)
        return replace(
            self,
            assessors=(*self.assessors, name),
            rows=(*self.rows, *rows_of(self.design, name, course, codes)),
            changes=(*self.changes, ("late", name)),
        )

    def without(self, assessor: str) -> ServingPlan:
        """The plan without an assessor who did not come; all others stay as they are.

        Whoever comes late then, see `with_late`, gets the orders that were left.

        Raises
        ------
        ArgumentError
            When nobody of that name is in the plan, or nobody else.
        """
        self._there(assessor)
        if len(self.assessors) == 1:
            raise ArgumentError(f"{assessor} is the only assessor of the plan; make a new plan.")
        return replace(
            self,
            assessors=tuple(name for name in self.assessors if name != assessor),
            rows=tuple(row for row in self.rows if row.assessor != assessor),
            changes=(*self.changes, ("without", assessor)),
        )

    def renamed(self, names: Mapping[str, str]) -> ServingPlan:
        """The plan with other names for its assessors; who is not among them keeps theirs."""
        return replace(
            self,
            assessors=tuple(names.get(name, name) for name in self.assessors),
            rows=tuple(
                replace(row, assessor=names.get(row.assessor, row.assessor)) for row in self.rows
            ),
            changes=tuple((what, names.get(name, name)) for what, name in self.changes),
        )

    def _there(self, assessor: str) -> None:
        if assessor not in self.assessors:
            raise ArgumentError(
                f"assessor {assessor!r} is not in the plan; there are {', '.join(self.assessors)}."
            )

    def _late_course(self, draw: Draw) -> Course:
        design = self.design
        served: dict[str, list[ServedSet]] = {name: [] for name in self.assessors}
        for own in self.sets:
            served[own.assessor].append(own)
        if not design.compares_two:
            before = [[own.order for own in mine] for mine in served.values()]
            return in_a_row(
                design, next_orders(design.choices, before, design.replicates * design.sets, draw)
            )
        orders = {}
        for number in range(1, design.sets + 1):
            before = [
                [served_set.order for served_set in mine if served_set.set == number]
                for mine in served.values()
            ]
            orders[number] = next_orders(design.choices, before, design.replicates, draw)
        if design.rising:
            return by_turns(orders, rising_turns(design))
        rounds = [list(_rounds(design, mine)) for mine in served.values()]
        turns = next_orders(sequences(design.sets), rounds, design.replicates, draw)
        return by_turns(orders, turns)


def assessor_names(names: Iterable[str]) -> tuple[str, ...]:
    """Names without needless spaces.

    Raises ArgumentError for what is no name, or a name that stands twice.
    """
    known: dict[str, str] = {}
    for name in names:
        if not isinstance(name, str) or not name.strip():
            raise ArgumentError(f"assessors must be names, none of them empty; got {name!r}.")
        short = " ".join(name.split())
        if short.casefold() in known:
            raise ArgumentError(f"assessor {short!r} stands twice; give each one name.")
        known[short.casefold()] = short
    return tuple(known.values())


def numbered(assessors: int) -> tuple[str, ...]:
    """What assessors are called of whom only the number is given.

    >>> numbered(3)
    ('P01', 'P02', 'P03')
    """
    width = max(2, len(str(assessors)))
    return tuple(f"P{at:0{width}d}" for at in range(1, assessors + 1))


def first_courses(design: ServingDesign, assessors: int, seed: int) -> list[Course]:
    """What each assessor gets when the plan is made."""
    if not design.compares_two:
        times = design.replicates * design.sets
        dealt = deal(design.choices, assessors, times, Draw(seed, "orders"))
        return [in_a_row(design, orders) for orders in dealt]
    by_set = [
        deal(design.choices, assessors, design.replicates, Draw(seed, "orders", str(number)))
        for number in range(1, design.sets + 1)
    ]
    if design.rising:
        turns = [rising_turns(design)] * assessors
    else:
        turns = deal(sequences(design.sets), assessors, design.replicates, Draw(seed, "sets"))
    return [
        by_turns({number: mine[at] for number, mine in enumerate(by_set, start=1)}, turns[at])
        for at in range(assessors)
    ]


def rising_turns(design: ServingDesign) -> list[str]:
    """The sets as they were given, in each replicate."""
    return [LETTERS_OF_SETS[: design.sets]] * design.replicates


def sequences(sets: int) -> Choices:
    """Orders of the sets themselves, each set equally often first, and after each other."""
    if sets == 1:
        return (("A",),)
    squares = williams_squares(sets)
    return tuple(
        tuple("".join(LETTERS_OF_SETS[place] for place in order) for order in versions)
        for versions in zip(*squares, strict=True)
    )


def in_a_row(design: ServingDesign, orders: Iterable[str]) -> Course:
    """Orders as sets 1, 2 ... of replicate 1, then of replicate 2 and so on."""
    return [(at // design.sets + 1, at % design.sets + 1, order) for at, order in enumerate(orders)]


def by_turns(orders: Mapping[int, list[str]], turns: list[str]) -> Course:
    """In each replicate all sets, in the sequence that the turns name."""
    return [
        (replicate, number, orders[number][replicate - 1])
        for replicate, turn in enumerate(turns, start=1)
        for number in (LETTERS_OF_SETS.index(letter) + 1 for letter in turn)
    ]


def _rounds(design: ServingDesign, mine: list[ServedSet]) -> Iterator[str]:
    for replicate in range(1, design.replicates + 1):
        yield "".join(
            LETTERS_OF_SETS[served.set - 1] for served in mine if served.replicate == replicate
        )
