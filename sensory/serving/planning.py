"""Planning a serving: orders and blinding codes for every assessor of a session.

[1] After ISO 4120:2021: all orders equally often, in blocks; three-digit codes, preferably others
    for each assessor. (From memory; the text was not checked.)
[2] After ISO 29842:2024: balanced incomplete blocks where there are too many samples.

Why so
------
Codes follow from the seed and the place in the plan, never from a name: names are known to whoever
would compute the key. So the plan on record, which has seats, comes again from its seed although a
name was erased. (Of plans made before, codes followed from names; all their cups are on record.)
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from operator import index
from typing import Any

from ..base.checks import one_count, truth
from ..base.errors import ArgumentError
from ..catalogue.kind import TestKind
from ..catalogue.tests import find_kind
from ..choices.protocols import Protocol
from . import rules
from .chance import Draw
from .codes import CODES, blinding_codes
from .layout import ServingDesign, ServingRow, rows_of
from .plan import ServingPlan, assessor_names, first_courses, numbered
from .rules import Possible
from .squares import MOST

MOST_ASSESSORS = 1000
Names = Sequence[str] | Sequence[Sequence[str]]


def serving_plan(
    test: TestKind | Protocol | str,
    assessors: int | Sequence[str],
    *,
    seed: int,
    samples: Names | None = None,
    set_size: int | None = None,
    replicates: int = 1,
    sets: int = 1,
    sittings: int = 1,
    warm_up: str | None = None,
    reference: str | None = None,
    target: str = "B",
    balanced_reference: bool = False,
    used_codes: Mapping[str, Iterable[str]] | None = None,
) -> ServingPlan:
    """Who gets which samples in which order under which codes, balanced and blind.

    Parameters
    ----------
    test : TestKind, Protocol or str
        Or its name, such as 'triangle' or 'profile'.
    assessors : int or sequence of str
        Names, or how many; these are called P01, P02 ...
    seed : int
        From 0. The same call with the same seed gives the same plan. One that is to be served
        needs a seed that cannot be guessed, `serving.chance.new_seed`.
    samples : sequence of str, or of pairs of str
        Of a test of two samples (forced choice, A - not A, same-different) their names, the
        reference first, by default A and B; with several `sets` one pair for each. Of the
        other methods 2 to 12 names, of grading 2 to 40, or 3 to 13 with `set_size`.
    set_size : int
        How many of the samples one set holds, where they are too many for one sitting:
        balanced incomplete blocks. `sets` is then how many sets each assessor gets.
    replicates : int
        How often each assessor gets the same again, in other orders as far as there are.
    sets : int
        In a test of two samples: how many comparisons of different pairs (at most 12). Which
        comes first is balanced as well.
    sittings : int
        Over how many sittings, with breaks between them, sets and replicates are spread. Where
        samples are judged one by one, a set may be spread over several sittings too.
    warm_up : str
        Sample served first in each sitting; it has a code as the others, and is not scored.
    reference : str
        Sample served with its name in front of every set; for methods of several samples. In
        difference from control it is there by default.
    target : {'B', 'A'}
        Where the protocol asks for it, the sample expected to have more.
    balanced_reference : bool
        Duo-trio: A and B are the labelled reference equally often.
    used_codes : mapping of str to iterable of str
        By assessor, codes of the last sitting that must not come again; `ServingPlan.codes`
        of the plan before.

    Returns
    -------
    ServingPlan

    Raises
    ------
    ArgumentError
        For an argument that cannot be used, or a design that does not exist in this size;
        the message says which does.

    Notes
    -----
    All orders that a test allows are served equally often, in randomised blocks [1]: their
    counts differ by one at most, whatever the number of assessors. Several samples take the
    rows of Williams squares. Position is balanced when the number of sets is a multiple of
    the samples, first-order carry-over too (where the samples are odd, of twice the samples);
    else positions differ by one at most. Incomplete sets [2] need a whole number of designs.

    In A - not A each replicate is one A and one B, so whoever were told so would know the second
    from the first: do not tell. Carry-over from one set to the next is not balanced; leave a
    pause, rinse, and spread long work over sittings.

    Codes have three digits, none is served to an assessor twice, and none is a number that
    people remember.

    Examples
    --------
    >>> plan = serving_plan("triangle", 12, seed=7)
    >>> print(plan.evenness)
    what        set  fewest  most
    order       1    2       2
    position    1    6       6
    carry-over  1    4       8
    >>> triad = plan.sets[0]
    >>> triad.assessor, len(triad.order), len(triad.codes)
    ('P01', 3, 3)
    """
    kind = find_kind(test)
    people = _assessors(assessors)
    number = _seed(seed)
    replicates = one_count("replicates", replicates, at_least=1)
    sets = one_count("sets", sets, at_least=1)
    two = kind.serving.compares_two
    names = _pairs(samples, sets) if two else (_several(kind, samples),)
    possible = (
        _of_two(kind, set_size, reference, target, balanced_reference)
        if two
        else _of_several(kind, len(names[0]), set_size, sets, number)
    )
    if possible.design:
        possible.design.check_sets(len(people) * sets * replicates)
    design = ServingDesign(
        test=kind.key,
        samples=names,
        replicates=replicates,
        sets=sets,
        sittings=one_count("sittings", sittings, at_least=1),
        set_size=len(possible.choices[0][0]),
        warm_up=_text("warm_up", warm_up),
        reference=_text("reference", reference) or kind.serving.reference,
        labelled=kind.serving.labelled,
        compares_two=two,
        together=possible.design.together if possible.design else 0,
        choices=possible.choices,
        rising=kind.serving.rising,
    )
    _check_sittings(kind, design)
    return _served(design, people, number, _used(used_codes))


def drawn_again(plan: ServingPlan, *, seed: int) -> ServingPlan:
    """A plan of the same design for the same assessors, with other orders and codes.

    Nobody gets a code again that the plan before gave them, where there are enough codes, so that
    no cup of one plan passes for a cup of the other.

    >>> before = serving_plan("triangle", ["Anna", "Bo"], seed=7)
    >>> after = drawn_again(before, seed=8)
    >>> after.assessors, set(before.codes["Anna"]) & set(after.codes["Anna"])
    (('Anna', 'Bo'), set())
    """
    design, names = plan.design, plan.design.samples[0]
    if not design.compares_two:
        size = None if design.set_size == len(names) else design.set_size
        possible = _of_several(find_kind(design.test), len(names), size, 1, seed)
        design = replace(design, choices=possible.choices)
    enough = 2 * design.coded <= len(CODES)
    return _served(design, plan.assessors, _seed(seed), _used(plan.codes if enough else None))


def _served(
    design: ServingDesign, people: tuple[str, ...], seed: int, used: dict[str, tuple[str, ...]]
) -> ServingPlan:
    rows: list[ServingRow] = []
    codes = {
        name: blinding_codes(
            design.coded, draw=Draw(seed, "codes", place), used=used.get(name.casefold(), ())
        )
        for name, place in zip(people, numbered(len(people)), strict=True)
    }
    for name, course in zip(people, first_courses(design, len(people), seed), strict=True):
        rows += rows_of(design, name, course, codes[name])
    return ServingPlan(design=design, assessors=people, seed=seed, rows=tuple(rows))


def _of_two(
    test: TestKind, set_size: Any, reference: Any, target: str, balanced_reference: bool
) -> Possible:
    for name, value in (("set_size", set_size), ("reference", reference)):
        if value is not None:
            raise ArgumentError(
                f"{name} is for methods of several samples; a {test.name} test compares two. "
                "Leave it out."
            )
    balanced = truth("balanced_reference", balanced_reference)
    choices = rules.two_sample_orders(test, target=target, balanced_reference=balanced)
    return Possible(choices=choices)


def _of_several(test: TestKind, samples: int, set_size: Any, sets: int, seed: int) -> Possible:
    size = None if set_size is None else one_count("set_size", set_size)
    if sets > 1 and size in (None, samples):
        raise ArgumentError(
            f"sets is {sets}, but one set of a {test.name} holds all samples: give set_size for "
            "sets with some of them, or replicates for the same again."
        )
    most = test.serving.most
    return rules.several_sample_orders(samples, size, Draw(seed, "samples"), most)


def _pairs(samples: Names | None, sets: int) -> tuple[tuple[str, ...], ...]:
    """A pair of names for each set."""
    if sets > MOST:
        raise ArgumentError(f"sets must be at most {MOST}; got {sets}.")
    given: Any = samples
    if sets == 1 and isinstance(samples, Sequence):
        given = samples if len(samples) == 1 and not isinstance(samples[0], str) else [samples]
    elif sets == 1 and samples is None:
        given = [("A", "B")]
    if not isinstance(given, Sequence) or isinstance(given, str) or len(given) != sets:
        raise ArgumentError(
            f"samples must be one pair of names for each set, sets being {sets}; got {samples!r}. "
            "For the same pair again give replicates."
        )
    pairs = tuple(_sample_names(pair) for pair in given)
    for pair in pairs:
        if len(pair) != 2:
            raise ArgumentError(
                f"samples must be two names, the reference first; got {', '.join(pair)}."
            )
    return pairs


def _several(test: TestKind, samples: Names | None) -> tuple[str, ...]:
    if samples is None:
        raise ArgumentError(f"samples must be given: the names of the samples of the {test.name}.")
    names = _sample_names(samples)
    if len(names) < 2:
        raise ArgumentError(f"samples must be two or more; got {', '.join(names) or 'none'}.")
    if test.serving.has_a and "A" not in names:
        raise ArgumentError(
            f"samples of {test.name} must have the reference under the name A; "
            f"got {', '.join(names)}."
        )
    return names


def _sample_names(names: Any) -> tuple[str, ...]:
    if isinstance(names, str) or not isinstance(names, Sequence):
        raise ArgumentError(f"samples must be a sequence of names; got {names!r}.")
    known: dict[str, str] = {}
    for name in names:
        short = _text("samples", name)
        if not short:
            raise ArgumentError("samples must be names, none of them empty.")
        if short.casefold() in known:
            raise ArgumentError(f"sample {short!r} stands twice; give each its own name.")
        known[short.casefold()] = short
    return tuple(known.values())


def _assessors(assessors: Any) -> tuple[str, ...]:
    if isinstance(assessors, str):
        raise ArgumentError(f"assessors must be names or a number of them; got {assessors!r}.")
    if isinstance(assessors, Iterable):
        names = assessor_names(assessors)
    else:
        names = numbered(min(one_count("assessors", assessors), MOST_ASSESSORS + 1))
    if not 1 <= len(names) <= MOST_ASSESSORS:
        raise ArgumentError(
            f"assessors must be from 1 to {MOST_ASSESSORS}; got "
            f"{assessors if not isinstance(assessors, Iterable) else len(names)}."
        )
    return names


def _seed(seed: Any) -> int:
    try:
        number = index(seed)
    except TypeError:
        number = -1
    if number < 0 or isinstance(seed, bool):
        raise ArgumentError(f"seed must be a whole number from 0; got {seed!r}.")
    return number


def _text(name: str, value: Any) -> str:
    if value is None:
        return ""
    if not isinstance(value, str):
        raise ArgumentError(f"{name} must be text; got {value!r}.")
    return " ".join(value.split())


def _used(used_codes: Any) -> dict[str, tuple[str, ...]]:
    if used_codes is None:
        return {}
    if not isinstance(used_codes, Mapping):
        raise ArgumentError(
            f"used_codes must be the codes by assessor, as the codes of a plan; got {used_codes!r}."
        )
    by_name = {}
    for name, codes in used_codes.items():
        if isinstance(codes, str) or not isinstance(codes, Iterable):
            raise ArgumentError(f"used_codes of {name} must be a list of codes; got {codes!r}.")
        by_name[" ".join(str(name).split()).casefold()] = tuple(map(str, codes))
    return by_name


def _check_sittings(test: TestKind, design: ServingDesign) -> None:
    """Refuse sittings that would be empty, or would break up a set that has to stay whole."""
    if design.coded > len(CODES):
        raise ArgumentError(
            f"each assessor would get {design.coded} coded samples, and there are {len(CODES)} "
            "three-digit codes; plan fewer replicates, sets or sittings."
        )
    servings = design.replicates * design.sets
    if design.sittings in rules.possible_sittings(test, servings, design.set_size):
        return
    if not test.serving.splittable:
        raise ArgumentError(
            f"sittings must be at most {servings}, the sets of one assessor (sets x replicates); "
            f"got {design.sittings}. A set of a {test.name} test is not broken up."
        )
    raise ArgumentError(
        f"sittings must be at most {servings}, the sets of one assessor (sets x replicates), "
        f"or a multiple of it up to {servings * design.set_size}; got {design.sittings}."
    )
