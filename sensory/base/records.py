"""The nouns of the job: findings, questions, samples, sessions and cautions."""

from __future__ import annotations

import hashlib
import json
from dataclasses import MISSING, asdict, fields
from datetime import UTC, datetime
from typing import Any, Self

from .errors import RecordError


class Plain:
    """To and from plain dictionaries, refusing names it does not know."""

    __slots__ = ()

    def to_dict(self) -> dict[str, Any]:
        """The fields as plain data, nested records included."""
        return asdict(self)  # type: ignore[call-overload]

    @classmethod
    def from_dict(cls, plain: dict[str, Any]) -> Self:
        """Rebuild from `to_dict`; RecordError for a field that is not known, or not there."""
        own = fields(cls)  # type: ignore[arg-type]
        known = {entry.name for entry in own}
        if strange := sorted(set(plain) - known):
            raise RecordError(
                f"{cls.__name__} has no field {', '.join(strange)}; "
                f"its fields are {', '.join(sorted(known))}."
            )
        needed = [
            entry.name
            for entry in own
            if entry.default is MISSING and entry.default_factory is MISSING
        ]
        if absent := [name for name in needed if name not in plain]:
            raise RecordError(f"{cls.__name__} needs {', '.join(absent)}.")
        return cls(**plain)


def utc_now() -> str:
    """The time in UTC to the millisecond, ISO 8601."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")


def digest_of(plain: Any) -> str:
    """SHA-256 of plain data: JSON with sorted keys and no spaces, in UTF-8."""
    text = json.dumps(plain, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()


def nested(plain: dict[str, Any], parts: dict[str, Any]) -> dict[str, Any]:
    """Plain data with its parts rebuilt: `parts` names a record's class, or str, by field."""

    def built(kind: Any, value: Any) -> Any:
        return kind.from_dict(dict(value)) if isinstance(value, dict) else value

    whole = dict(plain)
    for name, kind in parts.items():
        value = whole.get(name)
        if isinstance(value, (list, tuple)):
            whole[name] = tuple(built(kind, one) for one in value)
        elif isinstance(value, dict):
            whole[name] = built(kind, value)
    return whole
