"""Sentences and small tables of a trend, the same for scores and for choices."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import pandas as pd

from ..base.arrays import Name, Row
from ..base.results import digits, p_digits, several
from ..models.change_points import ChangePoint
from .batch_rows import ONE_LINE

_DATED = ["line", "batch", "date"]
CHANGE = [*_DATED, "first", "last", "before", "after", "difference", "se", "p", "clear"]
"""Columns of a table of changes."""
EWMA_WORDS = "the weighted mean lies beyond its limits"
ENOUGH = 20
"""Batches from which limits are usually called settled; a convention."""

REFERENCE = (
    "It does not tell whether the batches moved or the reference did: when the reference drifts "
    "or is renewed, every finding moves with it."
)
USUAL = (
    "The limits of the chart say what is unusual for these batches, not what a consumer accepts."
)
QUIET = "No signal is no proof that nothing changed; a small change may need many batches to show."
ONE_STEP = (
    "A change is sought as one step; a slow drift or several steps are described badly by it."
)
CHOSEN = "The size of a step at its likeliest place tends to look larger than it is."


def named(line: Name, lines: int) -> str:
    """How a sentence begins: the line, where there are several or it has a name."""
    return "" if lines == 1 and line == ONE_LINE else f"Line {line}: "


def begun(name: str, text: str) -> str:
    """The sentence behind the name of the line, or with a capital of its own."""
    return f"{name}{text}" if name else f"{text[:1].upper()}{text[1:]}"


def batch_count(count: int) -> str:
    """A count of batches in words."""
    return f"{count} batch{'' if count == 1 else 'es'}"


def earlier_left_out(left: int, of: str) -> str:
    """That the earliest batches are not among those looked at.

    >>> earlier_left_out(1, "the product")
    '1 batch of the product, made earlier, is not looked at here.'
    """
    verb = "is" if left == 1 else "are"
    return f"{batch_count(left)} of {of}, made earlier, {verb} not looked at here."


def level_sentence(name: str, row: Row, level: float) -> str:
    """Where the batches lie on average, and how far they scatter."""
    side = "above" if row["estimate"] >= 0 else "below"
    known = row["noise"] > 0
    of = " beyond the panel's noise" if known else ""
    spread = f"they scatter with a standard deviation of {digits(row['scatter'], 2)}{of}"
    if known and row["scatter"] == 0:
        spread = "they scatter no more than the panel's noise explains"
    size, low, high = (
        digits(number, 2) for number in (abs(row["estimate"]), row["low"], row["high"])
    )
    return begun(
        name,
        f"{batch_count(row['batches'])} on average lie {size} {side} the reference ({low} to "
        f"{high}, {100 * level:g} %); {spread}.",
    )


def signal_rows(points: pd.DataFrame) -> pd.DataFrame:
    """One row a signal: ``line batch date signal``."""
    told = points.assign(signal=points["signals"].str.split("; "))
    rows = told.explode("signal")[[*_DATED, "signal"]]
    return rows[rows["signal"] != ""].reset_index(drop=True)


def by_itself(signals: str) -> bool:
    """Whether a batch signals by itself or in a run, and not only in the weighted mean.

    >>> by_itself("nine in a row on one side"), by_itself(EWMA_WORDS), by_itself("")
    (True, False, False)
    """
    return any(signal and signal != EWMA_WORDS for signal in signals.split("; "))


def signal_sentences(name: str, signals: pd.DataFrame) -> Iterator[str]:
    """One sentence a kind of signal, with the batches that raised it."""
    if signals.empty:
        yield begun(name, "no batch stands out from the others, and no run does.")
    for words, rows in signals.groupby("signal", sort=False):
        yield begun(name, f"{words}: {_listed([str(batch) for batch in rows['batch']])}.")


def change_row(line: Name, part: pd.DataFrame, step: ChangePoint) -> Row:
    """A change with the names of its batches."""
    batch = part["batch"]
    return {
        "line": line,
        "batch": batch[step.place],
        "date": part["date"][step.place],
        "first": batch[step.low],
        "last": batch[step.high],
        "before": step.before,
        "after": step.after,
        "difference": step.after - step.before,
        "se": (step.before_se**2 + step.after_se**2) ** 0.5,
        "p": step.p,
        "clear": step.p <= 1 - step.level + 1e-12,
    }


def change_sentence(name: str, row: Row | None, level: float, of: str = "level") -> str:
    """Whether the level stepped, where and by how much."""
    if row is None:
        return begun(name, f"too few batches to look for a change of {of}.")
    if not row["clear"]:
        return begun(
            name, f"no change of {of} is clear (p {p_digits(row['p'])} for one step at any place)."
        )
    return begun(
        name,
        f"the {of} steps from {digits(row['before'], 2)} to {digits(row['after'], 2)} with batch "
        f"{row['batch']} ({100 * level:g} %: {row['first']} to {row['last']}; "
        f"p {p_digits(row['p'])}).",
    )


def limit_sentence(name: str, against: pd.Series[str], limit: float, level: float) -> str:
    """How many batches are shown to lie within the agreed limit, beyond it, or neither."""
    count = {word: int((against == word).sum()) for word in ("within", "beyond", "cannot tell")}
    return begun(
        name,
        f"of {batch_count(len(against))} {count['within']} are shown to lie within the agreed "
        f"limit of {limit:g}, {count['beyond']} beyond it; for {count['cannot tell']} it "
        f"cannot be told (each by its own {100 * level:g} % limits).",
    )


def common_change(change: pd.DataFrame, points: pd.DataFrame) -> Iterator[str]:
    """Where two lines step at one time, the reference may be what moved."""
    dates = points.set_index(["line", "batch"])["date"]
    clear = [
        (row["line"], dates[row["line"], row["first"]], dates[row["line"], row["last"]])
        for row in change[change["clear"].astype(bool)].to_dict("records")
    ]
    together = [
        str(line)
        for line, first, last in clear
        if sum(first <= end and start <= last for _, start, end in clear) > 1
    ]
    if together:
        yield (
            f"Lines {' and '.join(together)} step at the same time: look at the reference and "
            "the panel first."
        )


def what_it_cannot_tell(
    lines: pd.DataFrame, base: int | None, limit: float | None
) -> tuple[str, ...]:
    """The limits of the evidence, a sentence each."""
    used = lines["batches"] if base is None else lines["batches"].clip(upper=base)
    few = lines.loc[used < ENOUGH, "line"]
    sentences = [REFERENCE, USUAL, QUIET, ONE_STEP, CHOSEN]
    if len(few):
        least = int(used.min())
        sentences.append(
            f"Limits from so few batches ({least} at the least, {ENOUGH} are usual) are rough: "
            "with a dozen, false signals come about twice as often as planned, and where the "
            "scatter came out large a change may hide."
        )
    if limit is None:
        sentences.append(
            "No limit was agreed, so it does not say whether any batch is too far off."
        )
    return tuple(sentences)


def quiet_sentence(run: float, what: str, adds: str) -> Iterator[str]:
    """How often a chart signals where nothing changes."""
    if run < float("inf"):
        yield (
            f"Where nothing changes, {what} of a line signal once in {run:.0f} batches on average "
            f"all the same; {adds}."
        )


def _listed(names: Sequence[str], most: int = 8) -> str:
    if len(names) <= most:
        return ", ".join(names)
    return f"{', '.join(names[:most])} and {several(len(names) - most, 'other')}"
