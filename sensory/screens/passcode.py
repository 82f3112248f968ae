"""Ways in: the passcodes of the people who sign, as hashes, in one file that is private.

Why so
------
Hashes stand beside the record and not in it: backups, archives and copies of the record hold
none. The record names the people and says what each may do (`sessions.staff`); here their keys
stand with hash and cookie key, or with the name by which a provider vouches for them.

The file is read for each passcode that is checked, and its other parts whenever it changes: what
`sensory network --new-passcode` or a second server writes holds for a server that runs.

Cookies are an end, a name, the key of the person and an HMAC with a key that is renewed with each
passcode: they survive a restart, a new passcode ends all of its person, and signing out withdraws
the one for good. After that an open page is drawn anew within seconds, for a stranger
(`guard.py`), and its connection is not taken up again; so no widget, callback or fragment acts.

A passcode that somebody else gave is good for signing in only: before the first sign-off the
person chooses another.
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
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from ..base.errors import ArgumentError, RecordError
from ..base.plain import Plain
from ..base.records import JsonObject

COOKIE = "sensory_leader"
HOURS = 12
SHORTEST, LONGEST = 8, 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Account(Plain):
    """How a person comes in.

    `passcode`: its argon2 hash; empty where there is none.
    `key`: of the cookies, in hexadecimal digits.
    `given`: whether somebody else chose the passcode.
    `provider`: under which name a provider vouches for the person; empty where none does.
    """

    passcode: str = ""
    key: str = ""
    given: bool = False
    provider: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Content:
    """What the file holds: accounts and withdrawn cookies, and the hash of an older program."""

    single: str = ""
    accounts: dict[str, Account]
    withdrawn: dict[str, int]

    def without_hashes(self) -> _Content:
        accounts = {
            person: replace(each, passcode="kept" if each.passcode else "")
            for person, each in self.accounts.items()
        }
        return replace(self, single="", accounts=accounts)


class Keeper:
    """Checks passcodes, and writes, reads and withdraws signed cookies.

    People are named by their keys in the record. The file is read again whenever it changes, so
    what another process writes holds at once, and hashes stay in the file. Raises RecordError when
    the file is damaged, or others of this machine may read it; a file that is not there holds
    nobody.
    """

    def __init__(self, path: Path, *, clock: Callable[[], float] = time.time):
        self._path, self._clock = path, clock
        self._writing = threading.Lock()
        self._seen: tuple[object, _Content] = (None, _Content(accounts={}, withdrawn={}))
        self._known()

    @property
    def single(self) -> str:
        """Hash of the one passcode that an older program kept for the leader; empty for none."""
        return _content(self._path).single

    def able(self) -> frozenset[str]:
        """Who can sign in."""
        accounts = self._known().accounts.items()
        return frozenset(key for key, each in accounts if each.passcode or each.provider)

    def right(self, person: str | None, passcode: str) -> bool:
        """Whether this is the passcode of the person; takes a good part of a second, on purpose.

        It takes as long for somebody who is not known. RecordError when the file cannot be read.
        """
        if len(passcode) > LONGEST:
            return False
        account = _content(self._path).accounts.get(person or "")
        kept = account.passcode if account else ""
        try:
            right = PasswordHasher().verify(kept or _nobody(), _normal(passcode))
        except (VerificationError, InvalidHashError):
            return False
        return right and bool(kept)

    def given(self, person: str) -> bool:
        """Whether somebody else chose the passcode of the person."""
        account = self._known().accounts.get(person)
        return bool(account and account.given)

    def set_passcode(self, person: str, passcode: str, *, given: bool) -> None:
        """Keep the hash of a new passcode, which ends all cookies of the person.

        Raises ArgumentError when it has fewer than 8 characters, or more than 200.
        """
        check_passcode(passcode)
        hashed = PasswordHasher().hash(_normal(passcode))
        key = secrets.token_hex(32)
        self._put(person, lambda old: replace(old, passcode=hashed, key=key, given=given))

    def adopt(self, person: str) -> None:
        """Make the one passcode of an older program that of a person."""
        with self._changed() as content:
            old = content.accounts.get(person, _fresh_account())
            content.accounts[person] = replace(old, passcode=content.single)

    def link(self, person: str, provider: str) -> None:
        """Say under which name a provider vouches for the person; an empty one takes it back.

        Raises ArgumentError when the name is that of somebody else.
        """
        other = self.person_of(provider) if provider else None
        if other not in (None, person):
            raise ArgumentError(f"The account {provider} is that of another person.")
        self._put(person, lambda old: replace(old, provider=provider))

    def person_of(self, provider: str) -> str | None:
        """Who it is that a provider vouches for under this name."""
        accounts = self._known().accounts.items()
        return next((key for key, each in accounts if each.provider == provider), None)

    def provider_of(self, person: str) -> str:
        """The name by which a provider vouches for the person; empty where none does."""
        account = self._known().accounts.get(person)
        return account.provider if account else ""

    def drop(self, person: str) -> None:
        """Forget the passcode of a person, which ends all cookies of the person.

        Whom a provider vouches for is kept, so that nobody comes back as somebody new.
        """
        key = secrets.token_hex(32)
        self._put(person, lambda old: Account(key=key, provider=old.provider))

    def cookie(self, person: str) -> str:
        """A new cookie: its end, a name of its own, the person, and the signature of all."""
        body = f"{int(self._clock()) + HOURS * 3600}.{secrets.token_hex(16)}.{person}"
        return f"{body}.{self._signature(body, self._known().accounts[person])}"

    def signed_in(self, cookie: str | None) -> str | None:
        """Whose cookie it is, if it is ours, not over, and not withdrawn.

        Nobody's, as long as the file of accounts cannot be read.
        """
        body, _, signature = (cookie or "").rpartition(".")
        person = body.rpartition(".")[2]
        try:
            known = self._known()
        except RecordError:
            return None
        account = known.accounts.get(person)
        if account is None or not hmac.compare_digest(
            signature.encode(), self._signature(body, account).encode()
        ):
            return None
        end, name, _ = body.split(".")
        return person if self._clock() < int(end) and name not in known.withdrawn else None

    def sign_out(self, cookie: str | None) -> str | None:
        """Withdraw a cookie, also after a new start, and say whose it was.

        One that is not valid changes nothing.
        """
        person = self.signed_in(cookie)
        if not cookie or not person:
            return None
        end, name, _, _ = cookie.split(".")
        with self._changed() as content:
            over = [each for each, until in content.withdrawn.items() if until <= self._clock()]
            for each in over:
                del content.withdrawn[each]
            content.withdrawn[name] = int(end)
        return person

    def _put(self, person: str, change: Callable[[Account], Account]) -> None:
        with self._changed() as content:
            content.accounts[person] = change(content.accounts.get(person, _fresh_account()))

    @contextmanager
    def _changed(self) -> Iterator[_Content]:
        """What the file holds now, to be changed in place and written when that is done."""
        with self._writing:
            content = _content(self._path)
            yield content
            accounts = {key: each.to_dict() for key, each in content.accounts.items()}
            _write(self._path, {"accounts": accounts, "withdrawn": content.withdrawn})

    def _known(self) -> _Content:
        """Accounts without their hashes, as the file has them now."""
        stamp = _stamp(self._path)
        if stamp != self._seen[0]:
            self._seen = stamp, _content(self._path).without_hashes()
        return self._seen[1]

    @staticmethod
    def _signature(body: str, account: Account) -> str:
        key = bytes.fromhex(account.key)
        return hmac.new(key, f"person.{body}".encode(), hashlib.sha256).hexdigest()


def check_passcode(passcode: str) -> None:
    """Refuse a passcode that is too short or endless.

    Examples
    --------
    >>> check_passcode("short")
    Traceback (most recent call last):
    sensory.base.errors.ArgumentError: The passcode must have 8 to 200 characters; got 5.
    """
    if not SHORTEST <= len(passcode) <= LONGEST:
        raise ArgumentError(
            f"The passcode must have {SHORTEST} to {LONGEST} characters; got {len(passcode)}."
        )


@cache
def _nobody() -> str:
    """The hash of a passcode that nobody knows."""
    return PasswordHasher().hash(secrets.token_hex(32))


def _normal(passcode: str) -> str:
    """One form of each letter, whichever keyboard it was typed on."""
    return unicodedata.normalize("NFC", passcode)


def _fresh_account() -> Account:
    return Account(key=secrets.token_hex(32))


def _stamp(path: Path) -> object:
    """What differs once the file was written anew: it is always replaced by another."""
    try:
        about = path.stat()
    except OSError:
        return "missing"
    return about.st_ino, about.st_mtime_ns, about.st_size, about.st_mode


def _content(path: Path) -> _Content:
    held = _private(path) if path.exists() else {}
    try:
        content = _Content(
            single=str(held.get("passcode", "")),
            accounts={str(key): Account.from_dict(of) for key, of in _part(held, "accounts")},
            withdrawn={str(name): int(end) for name, end in _part(held, "withdrawn")},
        )
        keys = [bytes.fromhex(each.key) for each in content.accounts.values()]
    except (TypeError, ValueError, AttributeError) as error:
        raise RecordError(f"{path} is damaged: {error}. Delete it and start again.") from error
    if any(len(key) < 32 for key in keys):
        raise RecordError(f"{path} is damaged: a key is too short. Delete it and start again.")
    return content


def _part(content: JsonObject, name: str) -> list[tuple[Any, Any]]:
    part = content.get(name, {})
    if not isinstance(part, dict):
        raise TypeError(f"{name} is no table")
    return list(part.items())


def _private(path: Path) -> JsonObject:
    try:
        open_to = stat.S_IMODE(path.stat().st_mode) & 0o077
        content = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise RecordError(f"{path} cannot be read: {error}.") from error
    if open_to and os.name == "posix":
        raise RecordError(f"{path} can be read by others of this machine. Run: chmod 600 {path}")
    try:
        held = json.loads(content)
    except json.JSONDecodeError as error:
        raise RecordError(f"{path} is damaged: {error}. Delete it and start again.") from error
    if not isinstance(held, dict) or not held:
        raise RecordError(f"{path} is damaged: it holds no accounts. Delete it and start again.")
    return held


def _write(path: Path, content: JsonObject) -> None:
    """Write the file whole or not at all; never readable by others, not even for a moment."""
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_name(f"{path.name}.{secrets.token_hex(8)}")
    handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        json.dump(content, file)
        file.flush()
        os.fsync(file.fileno())
    os.replace(beside, path)
