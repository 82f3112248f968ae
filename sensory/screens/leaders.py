"""Who leads: the person behind the cookies of a request, ours or those of a provider.

Why so
------
The cookie of a provider is Streamlit's own, signed by it; its functions are used here as they
are, which binds the program to one minor version (see pyproject.toml). Whoever has both cookies
is whom the provider vouches for, as in `access.who_asks`.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence

from starlette.requests import HTTPConnection
from starlette.types import Scope

from ..base.errors import RecordError, UnreachableError
from ..sessions.signing import Person
from . import provider
from .passcode import COOKIE, Keeper

Listed = Callable[[], Collection[str]]


def _none_listed() -> Collection[str]:
    return ()


def _nobody() -> Sequence[Person]:
    return ()


class Leaders:
    """Knows who leads.

    `people`: those on record; it may take its time, and is asked in a thread.
    `listed`: the names under which a provider may vouch for somebody; empty without one.
    """

    def __init__(
        self,
        keeper: Keeper,
        people: Callable[[], Sequence[Person]] = _nobody,
        listed: Listed = _none_listed,
    ):
        self._keeper, self._people, self._listed = keeper, people, listed

    def behind(self, scope: Scope) -> str | None:
        """Who sent a request, as a name that stays the same; None for no leader."""
        cookies = HTTPConnection(scope).cookies
        if listed := self.vouched_for(cookies):
            return f"{_LISTED}{listed}"
        return self._keeper.signed_in(cookies.get(COOKIE))

    def vouched_for(self, cookies: dict[str, str]) -> str | None:
        """The name on the list in the cookie of a provider."""
        listed = self._listed()
        return provider.on_list(provider.user_in(cookies), listed) if listed else None

    def key_of(self, leader: str) -> str:
        """The key on record of somebody whom `behind` names; empty for none yet."""
        if leader.startswith(_LISTED):
            return self.vouched_key(leader.removeprefix(_LISTED))
        return leader

    def vouched_key(self, listed: str) -> str:
        """The key on record of a name on the list; empty for none yet."""
        return self._keeper.person_of(listed) or ""

    def put_out(self, leader: str) -> bool:
        """Whether the record has it that this person no longer signs."""
        try:
            key = self.key_of(leader)
            return any(person.key == key and not person.active for person in self._people())
        except UnreachableError:
            return False  # nobody is put out because the record is away
        except RecordError:
            return True


_LISTED = "provider:"
