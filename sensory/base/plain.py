"""Nouns as plain data and back: JSON in one spelling, and refused with one clear sentence.

Numbers come back as they stood: an amount that was written as 1200 stays a whole number, so
that the digest of what is on record stays the same. A tuple is written as a list, an
enumeration as its word, a number that is not finite as text, which no JSON has a number for.
cattrs does the work; what differs from its habits is that nothing is turned into another kind
on the way: a number is no text, a text is no list of letters.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import MISSING, Field, fields, is_dataclass
from enum import StrEnum
from functools import cache
from math import isfinite
from types import NoneType, UnionType
from typing import Any, Self, TypeVar, get_args, get_origin

from cattrs import ClassValidationError, Converter
from cattrs.cols import is_mapping, mapping_structure_factory
from cattrs.gen import make_dict_structure_fn, make_dict_unstructure_fn, override

from .errors import RecordError, SensoryError
from .records import JsonObject

Kind = TypeVar("Kind")
Hook = Callable[[Any, Any], Any]

LEFT_OUT_EMPTY = {"left_out_empty": True}
"""Metadata of a field that is not written as long as it is as it was by default."""


def written_as(name: str) -> JsonObject:
    """Metadata of a field that has another name where it is written."""
    return {"written_as": name}


class Plain:
    """To and from plain dictionaries, refusing names it does not know."""

    __slots__ = ()

    def to_dict(self) -> JsonObject:
        """The fields as plain data that is ready for JSON, nested records included."""
        return dict(_converter().unstructure(self))

    @classmethod
    def from_dict(cls, plain: Mapping[str, object]) -> Self:
        """Rebuild from `to_dict`.

        Raises RecordError for a field that is not known, not there or of another kind, in a nested
        record too; and whatever the record itself refuses.
        """
        try:
            return _converter().structure(plain, cls)
        except ClassValidationError as error:
            raise _first(error) from None


def written_as_key(
    kind: type[Kind], key: Callable[[Kind], str], known: Callable[[str], Kind]
) -> None:
    """Have a thing of the catalogue written as its key, and looked up when it is read.

    Parameters
    ----------
    key : callable
        From the thing to its key.
    known : callable
        From the key to the thing; it refuses a key that is not known with a SensoryError.
    """
    converter = _converter()
    converter.register_unstructure_hook(kind, key)
    converter.register_structure_hook(kind, lambda value, _: known(_text(value, str)))


_NOT_FINITE = ("inf", "-inf", "nan")


class _OtherKindError(ValueError):
    """What stands there is of another kind than its field."""

    def __init__(self, wanted: str, value: object):
        super().__init__(f"must be {wanted}; got {value!r}")


@cache
def _converter() -> Converter:
    converter = Converter(unstruct_collection_overrides={tuple: list})
    hooks = {str: _text, float: _number, int: _count, bool: _yes_or_no, StrEnum: _word}
    for kind, hook in hooks.items():
        converter.register_structure_hook(kind, hook)
    converter.register_unstructure_hook(float, _plain_number)
    converter.register_structure_hook_factory(_is_tuple, _tuple_hook)
    converter.register_structure_hook_factory(is_mapping, _mapping_hook)
    converter.register_structure_hook_factory(is_dataclass, _record_hook)
    converter.register_unstructure_hook_factory(is_dataclass, _plain_hook)
    return converter


def _text(value: object, _: object) -> str:
    if isinstance(value, str):
        return value
    raise _OtherKindError("a text", value)


def _number(value: object, _: object) -> float:
    """Whole numbers stay whole, so that they are written as they were."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        return value
    if isinstance(value, str) and value in _NOT_FINITE:
        return float(value)
    raise _OtherKindError("a number", value)


def _plain_number(number: float) -> float | str:
    return number if isfinite(number) else str(float(number))


def _count(value: object, _: object) -> int:
    if isinstance(value, int) and not isinstance(value, bool):
        return value
    raise _OtherKindError("a whole number", value)


def _yes_or_no(value: object, _: object) -> bool:
    if isinstance(value, bool):
        return value
    raise _OtherKindError("true or false", value)


def _word(value: object, kind: type[StrEnum]) -> StrEnum:
    if isinstance(value, str) and value in list(kind):
        return kind(value)
    raise _OtherKindError(f"one of {', '.join(kind)}", value)


def _is_tuple(kind: Any) -> bool:
    return get_origin(kind) is tuple


_AS_THEY_ARE: dict[Any, set[type]] = {
    str: {str}, float: {float, int}, int: {int}, bool: {bool}, NoneType: {NoneType},
}  # fmt: skip


def _as_they_are(of: Any) -> set[type]:
    """Types of the values that a list of this kind takes as they are; none for records."""
    kinds = get_args(of) if get_origin(of) is UnionType else (of,)
    known = [_AS_THEY_ARE.get(kind, set()) for kind in kinds]
    return set().union(*known) if all(known) else set()


def _tuple_hook(kind: Any, converter: Converter) -> Hook:
    of, *more = get_args(kind)
    hooks = [converter.get_structure_hook(part) for part in (of, *more) if part is not Ellipsis]
    free = Ellipsis in more
    plain = _as_they_are(of)

    def built(value: object, _: object) -> tuple[object, ...]:
        if not isinstance(value, list | tuple):
            raise _OtherKindError("a list", value)
        if free and plain and plain.issuperset(map(type, value)):
            return tuple(value)  # the histories of a panel hold hundreds of thousands of numbers
        if free:
            return tuple([hooks[0](part, of) for part in value])
        if len(value) != len(hooks):
            raise _OtherKindError(f"a list of {len(hooks)}", value)
        return tuple(
            hook(part, of) for hook, part, of in zip(hooks, value, (of, *more), strict=True)
        )

    return built


def _mapping_hook(kind: Any, converter: Converter) -> Hook:
    build: Hook = mapping_structure_factory(kind, converter, detailed_validation=False)

    def built(value: object, wanted: object) -> dict[object, object]:
        if isinstance(value, Mapping):
            return dict(build(value, wanted))
        raise _OtherKindError("a mapping", value)

    return built


def _record_hook(kind: Any, converter: Converter) -> Hook:
    build: Hook = make_dict_structure_fn(kind, converter, **_overrides(kind))
    known = {_written(entry) for entry in fields(kind)}
    needed = [
        _written(entry)
        for entry in fields(kind)
        if entry.default is MISSING and entry.default_factory is MISSING
    ]

    def built(value: object, wanted: object) -> object:
        if not isinstance(value, Mapping):
            raise RecordError(f"{kind.__name__} needs a mapping of its fields; got {value!r}.")
        if value.keys() == known:
            return build(value, wanted)
        if strange := sorted(map(str, value.keys() - known)):
            raise RecordError(
                f"{kind.__name__} has no field {', '.join(strange)}; "
                f"its fields are {', '.join(sorted(known))}."
            )
        if absent := [name for name in needed if name not in value]:
            raise RecordError(f"{kind.__name__} needs {', '.join(absent)}.")
        return build(value, wanted)

    return built


def _plain_hook(kind: type, converter: Converter) -> Callable[[object], JsonObject]:
    return make_dict_unstructure_fn(kind, converter, **_overrides(kind))


def _overrides(kind: type) -> JsonObject:
    return {
        entry.name: override(
            rename=_written(entry), omit_if_default=bool(entry.metadata.get("left_out_empty"))
        )
        for entry in fields(kind)
    }


def _written(entry: Field[Any]) -> str:
    return str(entry.metadata.get("written_as", entry.name))


def _first(error: ClassValidationError) -> SensoryError:
    """The first thing that is wrong, in words; of a nested record where that is at fault."""
    noted, others = error.group_exceptions()
    written = {entry.name: _written(entry) for entry in fields(error.cl)}
    cause, place = (noted[0][0], f"{written[noted[0][1].name]} of ") if noted else (others[0], "")
    if isinstance(cause, ClassValidationError):
        return _first(cause)
    if isinstance(cause, SensoryError):
        return cause
    says = str(cause) if isinstance(cause, _OtherKindError) else f"cannot be read: {cause}"
    return RecordError(f"{place}{error.cl.__name__} {says}.")
