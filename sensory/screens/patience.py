"""Wrong passcodes make the next try wait, longer each time.

Why so
------
Wrong passcodes wait for their own address, doubling to 5 minutes, and for all addresses together,
to 10 s; a try counts from its start, and one is checked at a time. An address that was right
before waits for itself only, so that others cannot shut the leader out. Behind a proxy on this
machine `X-Forwarded-For` names the address; behind one elsewhere all visitors share the proxy's.
Where that header is forged, the limit for all together holds.

The right passcode of one account takes back the tries on that account alone. Otherwise somebody
with an account could try those of others without end, with a sign-in of their own in between.
"""

from __future__ import annotations

import ipaddress
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TypeVar

# The first tries are free; then the wait doubles from one second to the longest.
FREE, LONGEST = 3, 300.0
# All addresses together: many machines get no further than one, but a passcode a leader
# mistypes now and then does not shut others out for long.
FREE_OF_ALL, LONGEST_OF_ALL = 20, 10.0
FORGOTTEN = 3600.0
MOST_ADDRESSES = 1000


Key = TypeVar("Key")
Value = TypeVar("Value")
_Pair = tuple[str, str]  # an address and an account


@dataclass(frozen=True, slots=True, kw_only=True)
class _Tries:
    count: int = 0
    last: float = 0.0


class Patience:
    """Counts wrong tries for each address and for all together.

    A try counts as wrong from its start until `forgive`, so that many at once gain nothing.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic):
        self._clock = clock
        self._lock = threading.Lock()
        self._tries: dict[str, _Tries] = {}
        self._pairs: dict[_Pair, _Tries] = {}
        self._all = _Tries()
        self._known: dict[_Pair, None] = {}

    def begin(self, address: str, account: str = "") -> float:
        """Count a try and return 0, or return the seconds to wait before the next one.

        An address that gave the right passcode of this account before waits for its own tries
        only, so that others cannot shut it out.
        """
        with self._lock:
            now, pair = self._clock(), (_network(address), account)
            own = _fresh(self._tries.get(pair[0], _Tries()), now)
            every = _fresh(self._all, now)
            wait = _left(own, now, FREE, LONGEST)
            if pair not in self._known:
                wait = max(wait, _left(every, now, FREE_OF_ALL, LONGEST_OF_ALL))
            if wait > 0:
                return wait
            mine = _fresh(self._pairs.get(pair, _Tries()), now)
            _newest(self._tries, pair[0], _Tries(count=own.count + 1, last=now))
            _newest(self._pairs, pair, _Tries(count=mine.count + 1, last=now))
            self._all = _Tries(count=every.count + 1, last=now)
            return 0.0

    def forgive(self, address: str, account: str = "") -> None:
        """The passcode was right: the tries on this account from this address count no more."""
        with self._lock:
            pair = (_network(address), account)
            mine = _fresh(self._pairs.pop(pair, _Tries()), self._clock()).count
            own = self._tries.pop(pair[0], _Tries())
            if own.count > mine:
                _newest(self._tries, pair[0], replace(own, count=own.count - mine))
            self._all = replace(self._all, count=max(0, self._all.count - mine))
            _newest(self._known, pair, None)


def _newest(kept: dict[Key, Value], key: Key, value: Value) -> None:
    """The newest stand last; the oldest make way."""
    kept.pop(key, None)
    kept[key] = value
    while len(kept) > MOST_ADDRESSES:
        del kept[next(iter(kept))]


def _network(address: str) -> str:
    """The address whose tries count together: a line has 2**64 addresses of IPv6.

    >>> _network("192.0.2.7"), _network("2001:db8:0:1::7")
    ('192.0.2.7', '2001:db8:0:1::')
    """
    try:
        known = ipaddress.ip_address(address)
    except ValueError:
        return address[:64]
    if known.version == 4:
        return str(known)
    return str(ipaddress.ip_network((int(known), 64), strict=False).network_address)


def _fresh(tries: _Tries, now: float) -> _Tries:
    return tries if now - tries.last < FORGOTTEN else _Tries()


def _left(tries: _Tries, now: float, free: int, longest: float) -> float:
    """Seconds still to wait after so many wrong tries.

    >>> [_left(_Tries(count=n, last=0.0), 0.0, 3, 300.0) for n in (2, 3, 4, 5, 40)]
    [0.0, 1.0, 2.0, 4.0, 300.0]
    """
    if tries.count < free:
        return 0.0
    return max(0.0, tries.last + min(longest, 2.0 ** min(tries.count - free, 60)) - now)
