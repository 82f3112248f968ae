"""Wrong passcodes make the next try wait, longer each time.

Why so
------
Wrong passcodes wait for their own address, doubling to 5 minutes, and for all addresses together,
to 10 s; a try counts from its start, and one is checked at a time. An address that was right
before waits for itself only, so that others cannot shut the leader out. Behind a proxy on this
machine `X-Forwarded-For` names the address; behind one elsewhere all visitors share the proxy's.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass

# The first tries are free; then the wait doubles from one second to the longest.
FREE, LONGEST = 3, 300.0
# All addresses together: many machines get no further than one, but a passcode a leader
# mistypes now and then does not shut others out for long.
FREE_OF_ALL, LONGEST_OF_ALL = 20, 10.0
FORGOTTEN = 3600.0
MOST_ADDRESSES = 1000


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
        self._all = _Tries()
        self._known: set[str] = set()

    def begin(self, address: str) -> float:
        """Count a try and return 0, or return the seconds to wait before the next one.

        An address that gave the right passcode before waits for its own tries only, so that
        others cannot shut it out.
        """
        with self._lock:
            now = self._clock()
            own = _fresh(self._tries.get(address, _Tries()), now)
            every = _fresh(self._all, now)
            wait = _left(own, now, FREE, LONGEST)
            if address not in self._known:
                wait = max(wait, _left(every, now, FREE_OF_ALL, LONGEST_OF_ALL))
            if wait > 0:
                return wait
            self._tries.pop(address, None)  # the newest stand last
            self._tries[address] = _Tries(count=own.count + 1, last=now)
            self._all = _Tries(count=every.count + 1, last=now)
            while len(self._tries) > MOST_ADDRESSES:
                del self._tries[next(iter(self._tries))]
            return 0.0

    def forgive(self, address: str) -> None:
        """The passcode was right: this address, and all together, begin anew."""
        with self._lock:
            self._tries.pop(address, None)
            self._all = _Tries()
            self._known.add(address)


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
