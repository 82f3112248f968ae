"""Names in tables that come in: one spelling each, as the readers of files give them.

Why so
------
'A ' and 'a', 1 and '1' are one person to whoever typed them; as two they would add an assessor
to the degrees of freedom (F 49 on 21 became 68 on 45). What is only likely to be one person
('A.B.' and 'AB') is named and never put together here: it may be two.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TypeVar

import pandas as pd

from ..base.arrays import Name
from ..base.results import several
from ..base.spelling import look_alikes, same_person, tidy_name
from .frames import is_empty

Value = TypeVar("Value")


def one_spelling(column: pd.Series) -> pd.Series:
    """A column of names, each in the spelling in which it came first.

    Case, width and needless spaces do not count, and a whole number is its digits. A column that
    is in one spelling already is handed back as it is; categories keep their order.

    >>> one_spelling(pd.Series(["A ", "a", "Bo"])).tolist()
    ['A', 'A', 'Bo']
    >>> one_spelling(pd.Series([1, "1", 2.0, "2"], dtype=object)).tolist()
    [1, 1, 2.0, 2.0]
    """
    spelled = spellings(column.unique())
    if all(name == kept and type(name) is type(kept) for name, kept in spelled.items()):
        return column
    kept = [spelled.get(name, name) for name in column]
    names = pd.Series(kept, index=column.index, dtype=object)
    if isinstance(column.dtype, pd.CategoricalDtype):
        order = [spelled[name] for name in column.cat.categories if name in spelled]
        return names.astype(pd.CategoricalDtype(list(dict.fromkeys(order)), column.dtype.ordered))
    return names


def spellings(names: Iterable[Name]) -> dict[Name, Name]:
    """For each different name that is not empty the spelling in which it came first.

    >>> spellings(["A ", "a", "Bo", ""])
    {'A ': 'A', 'a': 'A', 'Bo': 'Bo'}
    """
    first: dict[str, Name] = {}
    return {name: first.setdefault(_key(name), _tidy(name)) for name in names if not is_empty(name)}


def name_among(names: Iterable[Name], given: Name) -> Name:
    """The name that `given` spells; `given` itself where it is none of them.

    >>> name_among(("lime", "Plum"), " plum"), name_among(("lime",), "rose")
    ('Plum', 'rose')
    """
    keys = {_key(name): name for name in names}
    return given if given in keys.values() else keys.get(_key(given), given)


def each_named(names: Iterable[Name], given: Value | Mapping[Name, Value]) -> dict[Name, Value]:
    """What is given by name, its keys in the spelling of the names; one value holds for all.

    >>> each_named(("sour", "sweet"), {"Sour ": 1}), each_named(("sour", "sweet"), 2)
    ({'sour': 1}, {'sour': 2, 'sweet': 2})
    """
    known = tuple(names)
    if not isinstance(given, Mapping):
        return dict.fromkeys(known, given)
    return {name_among(known, name): value for name, value in given.items()}


def alike_notes(assessors: Iterable[Name]) -> tuple[str, ...]:
    """A sentence for each group of names that still look like one person.

    >>> print(*alike_notes(["A.B.", "AB", "Cleo"]))
    A.B. and AB look like one person in several spellings; they count as 2 assessors. If it is \
one person, give one spelling.
    """
    return tuple(
        f"{', '.join(group[:-1])} and {group[-1]} look like one person in several spellings; they "
        f"count as {several(len(group), 'assessor')}. If it is one person, give one spelling."
        for group in look_alikes(map(str, assessors))
    )


def _key(name: Name) -> str:
    if isinstance(name, float) and name.is_integer():
        return str(int(name))
    return same_person(str(name))


def _tidy(name: Name) -> Name:
    return tidy_name(name) if isinstance(name, str) else name
