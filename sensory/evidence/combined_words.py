"""What joined sessions show in sentences, and what they cannot tell."""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from ..base.arrays import Row
from ..base.results import digits, p_digits, several
from .session_rows import SCORED

COMMON, BETWEEN = "one d-prime", "d-prime scatters between sessions"
WITHIN, BEYOND, OPEN = "within", "beyond", "cannot tell"
PLANNED, ANY = "planned looks", "any number of looks"
"""How often was looked: as planned beforehand, or as often as somebody pleased."""
SAME_PEOPLE = (
    "It takes the answers of all sessions for those of different people. Where the same assessors "
    "come back their answers go together, so similarity is not concluded from a total."
)
ONE_PAIR = (
    "It joins what was asked of one pair of products. Whether these were the same lots, of the "
    "same age, is not in the counts."
)
LOOKS = (
    "Limits of the total hold for one look. Whoever looks after each session and stops when they "
    "please needs the limits for all looks, which hold if the sessions share one d-prime."
)
LOOKS_PLANNED = (
    "Limits of the total hold for one look. The planned counts and limits hold for the looks "
    "agreed beforehand and no others; the limits also need one d-prime in all sessions."
)
TWO_ONLY = "With two sessions a scatter between them cannot be estimated; one d-prime is assumed."
DISTANCE = (
    "d-prime assumes that what is perceived scatters normally and alike in each test, and that "
    "assessors follow its decision rule."
)
SCORES = (
    "Of difference from control only the order enters: who scored the batch further from the "
    "labelled reference than the blind control. Scores alike are taken for distances too close to "
    "be told apart, by a band that is the same for all assessors of a session. By how many points "
    "they differ is no d-prime and is not used."
)
_AGAINST = {
    WITHIN: "these limits all lie below the agreed d-prime of {limit}.",
    BEYOND: "these limits all lie above the agreed d-prime of {limit}.",
    OPEN: "the agreed d-prime of {limit} lies between these limits: it is open.",
}

_AVERAGE_AGAINST = {
    WITHIN: "the limits of the average lie below the agreed d-prime of {limit}; a single session "
    "may lie above it.",
    BEYOND: "the limits of the average lie above the agreed d-prime of {limit}; a single session "
    "may lie below it.",
    OPEN: "the agreed d-prime of {limit} lies between the limits of the average: it is open.",
}


def group_says(row: Row, groups: int, level: float, limit: float | None) -> Iterator[str]:
    """What one group shows; with its name where there are several."""
    name = f"{called(row)}: " if groups > 1 else ""
    count = several(int(row["sessions"]), "session")
    if many_voices(row, level):
        yield from (_begun(name, words) for words in _apart(row, count, level, limit))
        yield from _not_joined(row, groups, name)
        return
    mean = "on average " if row["model"] == BETWEEN else ""
    limits = f"{digits(row['low'], 3)} to {digits(row['high'], 3)}"
    yield (
        f"{name}{count} with {several(int(row['trials']), 'answer')} show {mean}a d-prime of "
        f"{digits(row['estimate'], 3)} ({limits}, {100 * level:g} %; exact p for no "
        f"difference {p_digits(row['p'])})."
    )
    if row["sessions"] > 1:
        yield _scatter(row, name, level)
    yield from (_begun(name, words) for words in _of_looks(row, level))
    if limit is not None:
        yield _begun(name, _AGAINST[row["against_limit"]].format(limit=digits(limit, 3)))
    yield from _not_joined(row, groups, name)


def _not_joined(row: Row, groups: int, name: str) -> Iterator[str]:
    if groups > 1:
        yield f"{name}not joined with the others, as {_why_apart(row)}."


def many_voices(row: Row, level: float) -> bool:
    """Whether sessions scatter by more than their average, and by more than chance explains."""
    scatters = row["model"] == BETWEEN and row["spread"] > row["estimate"]
    return bool(scatters and row["p_heterogeneity"] <= 1 - level)


def _apart(row: Row, count: str, level: float, limit: float | None) -> Iterator[str]:
    """What sessions show that do not speak with one voice: the scatter first, then its average."""
    low, high = digits(row["spread_low"], 2), digits(row["spread_high"], 2)
    yield (
        f"{count} with {several(int(row['trials']), 'answer')} do not speak with one voice: their "
        f"d-primes scatter by {digits(row['spread'], 2)} ({low} to {high}) from session to "
        f"session, more than chance explains (p {p_digits(row['p_heterogeneity'])}) and more than "
        "their average. Look at each session and its batch "
        "by itself, and at whether the reference has drifted."
    )
    low, high = digits(row["low"], 3), digits(row["high"], 3)
    yield (
        f"the average of such unlike sessions is a d-prime of {digits(row['estimate'], 3)} "
        f"({low} to {high}, {100 * level:g} %) and says little of any of them; exact p for no "
        f"difference in any session {p_digits(row['p'])}."
    )
    yield from _of_looks(row, level)
    if limit is not None:
        yield _AVERAGE_AGAINST[row["against_limit"]].format(limit=digits(limit, 3))


def _of_looks(row: Row, level: float) -> Iterator[str]:
    if row["looks"] == PLANNED:
        yield from _planned(row)
    elif row["sessions"] > 1:
        yield _always(row, level)
    if row["why_not_planned"]:
        yield str(row["why_not_planned"])


def cannot_tell_of(groups: pd.DataFrame, sessions: pd.DataFrame) -> tuple[str, ...]:
    """What these counts do not answer, a sentence each."""
    two = (TWO_ONLY,) if (groups["sessions"] == 2).any() else ()
    looks = LOOKS_PLANNED if (groups["looks"] == PLANNED).any() else LOOKS
    scored = (SCORES,) if (sessions["protocol"] == SCORED).any() else ()
    return (*two, SAME_PEOPLE, ONE_PAIR, looks, *scored, DISTANCE)


def called(row: Row) -> str:
    """What a group is called: what was asked, and against what."""
    asked = f"difference in {row['attribute']}" if row["attribute"] else "any difference"
    return f"{asked}, against {row['reference']}" if row["reference"] else asked


def _scatter(row: Row, name: str, level: float) -> str:
    differ = "differ more" if row["p_heterogeneity"] <= 1 - level else "do not differ"
    than = "than chance explains" if differ == "differ more" else "by more than chance"
    spread = ""
    if row["model"] == BETWEEN:
        low, high = digits(row["spread_low"], 2), digits(row["spread_high"], 2)
        spread = f"; standard deviation between them {digits(row['spread'], 2)} ({low} to {high})"
    p = p_digits(row["p_heterogeneity"])
    return f"{_begun(name, 'the sessions')} {differ} {than} (p {p}){spread}."


def _always(row: Row, level: float) -> str:
    if row["p_heterogeneity"] <= 1 - level:
        return "limits that hold at every look take one d-prime and do not apply here."
    low, high = digits(row["always_low"], 3), digits(row["always_high"], 3)
    return f"limits that hold however often one looks: {low} to {high}."


def _planned(row: Row) -> Iterator[str]:
    done, of = int(row["looks_done"]), int(row["looks_planned"])
    yield (
        f"planned looks: {done} of {of} are done. By them a difference is "
        f"{'shown' if row['planned_different'] else 'not shown'} (risk {row['planned_alpha']:g} "
        "over all looks of the plan)."
    )
    if row["planned_low"] == row["planned_low"]:
        low, high = digits(row["planned_low"], 3), digits(row["planned_high"], 3)
        yield f"limits that hold at all planned looks: {low} to {high}."
    else:
        yield "no d-prime agrees with all planned looks, so the sessions do not share one."


def _begun(name: str, text: str) -> str:
    """The text behind the name of a group, or with a capital of its own."""
    return f"{name}{text}" if name else f"{text[:1].upper()}{text[1:]}"


def _why_apart(row: Row) -> str:
    if row["attribute"]:
        return f"it asked for {row['attribute']}, not for any difference"
    return f"it was compared with {row['reference'] or 'a reference that is not named'}"
