"""When and what: the time in UTC, and the digest of plain data."""

from __future__ import annotations

import hashlib
import json
from datetime import UTC, datetime
from typing import Any

JsonObject = dict[str, Any]
"""An object of JSON, as it comes from a file, a database or the network: nothing is known of it."""


def utc_now() -> str:
    """The time in UTC to the millisecond, ISO 8601."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")


def digest_of(plain: object) -> str:
    """SHA-256 of plain data: JSON with sorted keys and no spaces, in UTF-8."""
    text = json.dumps(plain, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()
