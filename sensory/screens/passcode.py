"""The leader's passcode: its hash and the key of the cookies, in one file that is private.

Why so
------
Cookies are an end, a name and an HMAC with a key kept beside the hash of the passcode: they
survive a restart, a new passcode ends all, and signing out withdraws the one for good. After that
an open page of the leader only runs the script anew (`guard.py`), and its connection is not taken
up again; so no widget, callback or fragment of it acts.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import os
import secrets
import stat
import threading
import time
import unicodedata
from collections.abc import Callable
from pathlib import Path
from typing import Any

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from ..base.errors import ArgumentError, RecordError

COOKIE = "sensory_leader"
HOURS = 12
SHORTEST, LONGEST = 8, 200


class Keeper:
    """Checks the passcode, and writes, reads and withdraws signed cookies.

    The file holds the hash, the key and the cookies withdrawn before their end. Raises
    RecordError when it is missing or damaged, or others of this machine may read it.
    """

    def __init__(self, path: Path, *, clock: Callable[[], float] = time.time):
        self._path, self._clock = path, clock
        self._writing = threading.Lock()
        content = _private(path)
        try:
            self._hash = str(content["passcode"])
            self._key = bytes.fromhex(content["key"])
            self._withdrawn = {str(name): int(end) for name, end in content["withdrawn"].items()}
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            raise RecordError(f"{path} is damaged: {error}. Delete it and start again.") from error
        if len(self._key) < 32:
            raise RecordError(f"{path} is damaged: its key is too short. Delete it.")

    def right(self, passcode: str) -> bool:
        """Whether this is the passcode; takes a good part of a second, on purpose."""
        if len(passcode) > LONGEST:
            return False
        try:
            return PasswordHasher().verify(self._hash, _normal(passcode))
        except (VerificationError, InvalidHashError):
            return False

    def cookie(self) -> str:
        """A new cookie: its end, a name of its own, and the signature of both."""
        body = f"{int(self._clock()) + HOURS * 3600}.{secrets.token_hex(16)}"
        return f"{body}.{self._signature(body)}"

    def signed_in(self, cookie: str | None) -> bool:
        """Whether the cookie is ours, not over, and not withdrawn."""
        body, _, signature = (cookie or "").rpartition(".")
        if not hmac.compare_digest(signature.encode(), self._signature(body).encode()):
            return False
        end, _, name = body.partition(".")
        return self._clock() < int(end) and name not in self._withdrawn

    def sign_out(self, cookie: str | None) -> None:
        """Withdraw a cookie, also after a new start; one that is not valid changes nothing."""
        if not cookie or not self.signed_in(cookie):
            return
        end, name, _ = cookie.split(".")
        with self._writing:
            now, kept = self._clock(), self._withdrawn.items()
            self._withdrawn = {other: until for other, until in kept if until > now}
            self._withdrawn[name] = int(end)
            _write(self._path, self._hash, self._key, self._withdrawn)

    def _signature(self, body: str) -> str:
        return hmac.new(self._key, f"leader.{body}".encode(), hashlib.sha256).hexdigest()


def set_passcode(path: Path, passcode: str) -> None:
    """Keep the hash of a new passcode; a new key ends all cookies of the old one.

    Raises ArgumentError when the passcode has fewer than 8 characters, or more than 200.

    Examples
    --------
    >>> set_passcode(Path("never-written.json"), "short")
    Traceback (most recent call last):
    sensory.base.errors.ArgumentError: The passcode must have 8 to 200 characters; got 5.
    """
    if not SHORTEST <= len(passcode) <= LONGEST:
        raise ArgumentError(
            f"The passcode must have {SHORTEST} to {LONGEST} characters; got {len(passcode)}."
        )
    _write(path, PasswordHasher().hash(_normal(passcode)), secrets.token_bytes(32), {})


def _normal(passcode: str) -> str:
    """One form of each letter, whichever keyboard it was typed on."""
    return unicodedata.normalize("NFC", passcode)


def _private(path: Path) -> Any:
    try:
        open_to = stat.S_IMODE(path.stat().st_mode) & 0o077
        content = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise RecordError(f"{path} cannot be read: {error}.") from error
    if open_to and os.name == "posix":
        raise RecordError(f"{path} can be read by others of this machine. Run: chmod 600 {path}")
    try:
        return json.loads(content)
    except json.JSONDecodeError as error:
        raise RecordError(f"{path} is damaged: {error}. Delete it and start again.") from error


def _write(path: Path, hashed: str, key: bytes, withdrawn: dict[str, int]) -> None:
    """Write the file whole or not at all; never readable by others, not even for a moment."""
    content = {"passcode": hashed, "key": key.hex(), "withdrawn": withdrawn}
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_name(f"{path.name}.{secrets.token_hex(8)}")
    handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        json.dump(content, file)
        file.flush()
        os.fsync(file.fileno())
    os.replace(beside, path)
