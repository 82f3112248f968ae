"""A month of the panel for those who answer for it: what was done, how well, what comes next.

Why so
------
It says what the record holds and nothing else: what a month does not have is said in words, so
that an empty list is not read as a good one. Who needs attention is counted; names stand there
only where the leader asks for them, since the page goes to people who do not lead the panel. Roles
and plans are those of the day of printing, for the record keeps no roles of days gone by.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import date

from ..base.record_checks import iso_date
from ..base.results import Cell, Table, several
from ..base.spelling import same_person
from ..base.version import __version__
from ..catalogue.tests import find_kind, name_of_test
from ..serving.ballot_line import NOT_COME, lines_by_assessor, lines_from
from ..sessions.search import ALL
from ..sessions.servings import day_of
from ..sessions.session import Anchor, StoredSession
from ..sessions.sitting import ABSENT
from .assessors import Assessor, Role
from .attention import Attention, attention
from .history import History, history
from .months import reproducibility, smallest_now
from .register import MOST, PanelDesk, panels_of, the_register
from .series import TakenSeries
from .training_month import TrainedProduct, trained_products

_SOON = 60
"""Days within which a qualification that ends is told."""
_PANEL_MEAN = "mean of the panel"


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedSession:
    """A session on record that is not closed.

    `held_on`: its planned day, empty where none was given.
    `invited`: how many names its ballots hold.
    """

    title: str
    test: str
    held_on: str
    invited: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PanelMonth:
    """Result of `panel_month`.

    Attributes
    ----------
    month : str
        As ``2026-05``.
    past : History
        Of the month.
    year : Attention
        Of the twelve months that end with it.
    register : tuple of Assessor
        As on the day of printing.
    series : tuple of TakenSeries
        Screening series begun or ended in the month, or open on the day of printing.
    trained : tuple of TrainedProduct
        What was trained in the month.
    planned : tuple of PlannedSession
        From the day of printing on, or without a day.
    not_closed : int
        Sessions of the month whose ballots are open, and which are not counted.
    names : bool
        Whether names are told.
    """

    month: str
    past: History
    year: Attention
    register: tuple[Assessor, ...]
    series: tuple[TakenSeries, ...]
    trained: tuple[TrainedProduct, ...]
    planned: tuple[PlannedSession, ...]
    not_closed: int
    names: bool
    printed_at: str
    newest: Anchor | None = None
    version: str = __version__

    @property
    def title(self) -> str:
        """The panel in the month, as people write it."""
        return f"Panel, {date.fromisoformat(f'{self.month}-01'):%B %Y}"

    def headline(self) -> str:
        """The month in one sentence."""
        if not self.past.sittings:
            return "No sitting was closed."
        came = int((self.past.attendance["came"] > 0).sum())
        return (
            f"{several(len(self.past.sittings), 'sitting')} closed, "
            f"{several(came, 'assessor')} took part."
        )

    def remarks(self) -> tuple[str, ...]:
        """What the numbers cover."""
        panels = panels_of(self.register)
        lines = []
        if len(panels) > 1:
            lines.append(f"All panels together: {', '.join(panels)}.")
        if self.not_closed:
            lines.append(
                f"Not counted: {several(self.not_closed, 'session')} of this month with ballots "
                "still open."
            )
        return tuple(lines)

    def by_test(self) -> Table:
        """A row a test: sittings, how many assessors came to each, right answers."""
        rows: list[tuple[Cell, ...]] = []
        for test in sorted({each.test for each in self.past.sittings}):
            some = [each for each in self.past.sittings if each.test == test]
            came = [sum(what != ABSENT for what in each.came) for each in some]
            trials = sum(map(sum, (each.trials for each in some)))
            right = f"{sum(map(sum, (each.correct for each in some)))} of {trials}"
            span = str(min(came)) if min(came) == max(came) else f"{min(came)} to {max(came)}"
            rows.append((find_kind(test).name, len(some), span, right if trials else ""))
        return Table(
            columns=("test", "sittings", "assessors each", "right answers"), rows=tuple(rows)
        )

    def by_month(self) -> Table:
        """Sittings and the share of those expected who came, of twelve months, this one last."""
        rows: list[tuple[Cell, ...]] = []
        for month in twelve_months(self.month):
            some = [each for each in self.year.past.sittings if each.held_on[:7] == month]
            came = [what != ABSENT for each in some for what in each.came]
            rows.append((month, len(some), sum(came) / len(came) if came else None))
        return Table(columns=("month", "sittings", "came"), rows=tuple(rows))

    def attendance(self) -> tuple[str, ...]:
        """Who was expected and who came, in counts; who did not come, where names are told."""
        table = self.past.attendance
        if table.empty:
            return ("Nobody was expected in a sitting that was closed.",)
        expected, came, late = (int(table[name].sum()) for name in ("expected", "came", "late"))
        lines = [
            f"Expected {several(expected, 'time')}, came {came} ({100 * came / expected:.0f} %), "
            f"of these late {late}. 'Not today' counts as neither.",
        ]
        away = table[table["absent"] > 0].sort_values("absent", ascending=False, kind="stable")
        if self.names and len(away):
            told = ", ".join(f"{r['assessor']} {r['absent']}" for r in away.to_dict("records"))
            lines.append(f"Did not come: {told}.")
        return tuple(lines)

    def performance(self) -> Table:
        """A row an attribute scored in the month: the intraclass correlation of the panel's mean
        with its limits, and the smallest difference that a sitting could see; None where the
        scores are too few."""
        agreed = reproducibility(self.past).months
        agreed = agreed[agreed["kind"] == _PANEL_MEAN].set_index("attribute")
        now = smallest_now(self.past).set_index("attribute")
        rows: list[tuple[Cell, ...]] = []
        for name in dict.fromkeys([*agreed.index, *now.index]):
            icc: tuple[Cell, ...] = (None, None, None)
            if name in agreed.index:
                icc = tuple(float(agreed.loc[name, key]) for key in ("estimate", "low", "high"))
            seen = float(now.loc[name, "estimate"]) if name in now.index else None
            rows.append((str(name), *icc, seen))
        columns = ("attribute", "ICC of the panel's mean", "low", "high", "smallest difference")
        return Table(columns=columns, rows=tuple(rows))

    def needs_attention(self) -> tuple[str, ...]:
        """How many need attention, and why, over the twelve months; by name where asked for."""
        reasons, known = self.year.reasons, len(self.year.past.names)
        if not known:
            return ("No sitting in the twelve months: nobody is judged.",)
        named = reasons["assessor"].nunique()
        over = f"of {several(known, 'assessor')}, judged over the twelve months that end here"
        if not named:
            return (f"Nobody {over}, stands out; that does not show that all are steady.",)
        counts = reasons.groupby("reason", sort=False)["assessor"].nunique()
        why = ", ".join(f"{reason} {count}" for reason, count in counts.items())
        lines = [f"{named} {over}. Reasons, by assessors: {why}."]
        return (*lines, *(self.year.says() if self.names else ()))

    def training(self) -> tuple[str, ...]:
        """What was trained and how marks got on, who was qualified, and who is in training now."""
        within = [each for each in self.register if each.entered_on[:7] == self.month]
        qualified = Counter(
            each.product
            for member in self.register
            for each in member.qualified
            if each.since[:7] == self.month
        )
        lines = [
            f"Entered in the register: {len(within)}.",
            "Qualified for a product: "
            + ("nobody." if not qualified else f"{_counted(qualified)}."),
        ]
        if not self.trained:
            lines.append("No training session was closed.")
        for each in self.trained:
            lines += each.says(names=self.names)
        roles = Counter(
            str(role)
            for role in Role
            for each in self.register
            if not each.left and role in [member.role for member in each.panels]
        )
        if roles:
            lines.append(f"In the register on the day of printing: {_counted(roles)}.")
        return tuple(lines)

    def screening(self) -> tuple[str, ...]:
        """Screening series begun and ended in the month, and open ones; by name where asked for."""
        begun = Counter(
            str(each.series) for each in self.series if each.started_on[:7] == self.month
        )
        ended = [each for each in self.series if each.ended_on[:7] == self.month]
        still = sum(each.open for each in self.series)
        if not (begun or ended or still):
            return ("No screening series was begun or ended, and none is open.",)
        lines = [f"Screening series begun: {_counted(begun) or 'none'}."]
        endings = Counter(f"{each.series} {each.ending}" for each in ended)
        lines.append(
            f"Ended: {_counted(endings) if ended else 'none'}; open when printed: {still}."
        )
        if self.names and ended:
            known = {member.key: member.person for member in self.register}
            told = (f"{known.get(e.assessor, 'erased')}, {e.series}: {e.ending}" for e in ended)
            lines.append("; ".join(told) + ".")
        return tuple(lines)

    def next_up(self) -> tuple[str, ...]:
        """What the plan leaves to say beside its sessions: qualifications that end."""
        day = self.printed_at[:10]
        ending = [
            (member.person, each)
            for member in self.register
            if not member.left
            for each in member.lapsing(day, _SOON)
        ]
        if not ending:
            return (f"No qualification ends within {_SOON} days of printing.",)
        lines = [f"Qualifications that end within {_SOON} days of printing: {len(ending)}."]
        if self.names:
            lines += [f"{name}: {each.product}, on {each.until}." for name, each in ending]
        return tuple(lines)

    def sessions_planned(self) -> Table:
        """The planned sessions by day; those without a day last."""
        rows = tuple(
            (each.held_on or "no day yet", each.title or "untitled", each.test, each.invited)
            for each in self.planned
        )
        return Table(columns=("day", "session", "test", "invited"), rows=rows)


def panel_month(desk: PanelDesk, month: str, *, names: bool = False, printed_at: str) -> PanelMonth:
    """What the record says of the panel in a month.

    Parameters
    ----------
    month : str
        As ``2026-05``.
    names : bool
        Whether assessors are named.
    printed_at : str
        Time of printing, UTC, ISO 8601; what is planned is planned from its day on.

    Raises RecordError for what is no month.
    """
    iso_date("the first day of the month", f"{month}-01")
    first, last, day = twelve_months(month)[0], f"{month}-31", printed_at[:10]
    sittings = desk.sittings(since=f"{first}-01", until=last)
    year = history(sittings)
    open_now = [each for each in desk.sessions(ALL, unclosed=True) if _open(each)]
    planned = [each for each in open_now if (each.details.held_on or day) >= day]
    return PanelMonth(
        month=month,
        past=history(sittings, since=f"{month}-01", until=last),
        year=attention(year),
        register=tuple(the_register(desk, gone=True)),
        trained=trained_products(desk, month),
        series=tuple(each for each in desk.nouns(TakenSeries, most=MOST) if _touches(each, month)),
        planned=tuple(_planned(desk, each) for each in sorted(planned, key=_by_day)),
        not_closed=sum(
            each.agreed and day_of(each)[:7] == month and each not in planned for each in open_now
        ),
        names=names,
        printed_at=printed_at,
        newest=desk.newest(),
    )


def _touches(taken: TakenSeries, month: str) -> bool:
    return taken.open or month in (taken.started_on[:7], taken.ended_on[:7])


def _open(session: StoredSession) -> bool:
    return not session.closed and not session.details.care.unwell


def _by_day(session: StoredSession) -> tuple[bool, str, str]:
    return not session.details.held_on, session.details.held_on, session.created_at


def _planned(desk: PanelDesk, session: StoredSession) -> PlannedSession:
    people = {
        same_person(name)
        for name, mine in lines_by_assessor(lines_from(desk.cells(session.id))).items()
        if not all(line.not_served == NOT_COME or line.excused for line in mine)
    }
    return PlannedSession(
        title=session.details.title,
        test=name_of_test(session.question),
        held_on=session.details.held_on,
        invited=len(people - {""}),
    )


def twelve_months(month: str) -> list[str]:
    """The month and the eleven before it, in their order.

    >>> twelve_months("2026-02")[0], len(twelve_months("2026-02"))
    ('2025-03', 12)
    """
    last = int(month[:4]) * 12 + int(month[5:7]) - 1
    return [f"{at // 12}-{at % 12 + 1:02}" for at in range(last - 11, last + 1)]


def _counted(counts: Counter[str]) -> str:
    return ", ".join(f"{name} {count}" for name, count in counts.items())


def months_on_record(desk: PanelDesk, today: str) -> list[str]:
    """The months with a closed session, and that of today, the latest first."""
    return sorted({*desk.sitting_months(), today[:7]}, reverse=True)
