"""What is done for each visitor at each run: who is it, and which pages are theirs?

`main` is called by the script that the server runs, `script.py`, and by ``app.py`` at the top level
of a checkout, which is the same. What stood in the script itself was made anew at each run of it.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from contextlib import suppress
from functools import partial
from html import escape
from typing import TYPE_CHECKING

import streamlit as st

from ..base.errors import RecordError
from ..sessions.signing import Person, Right
from ..sessions.staff import enter_person, who_is
from ..store.repository import Repository, open_store
from . import opened, provider
from .access import (
    SIGN_IN,
    SIGN_OUT,
    Booth,
    Leader,
    Stranger,
    Visitor,
    kept,
    visitor,
)
from .frame import (
    PRESSED,
    Frame,
    among_invented,
    current_frame,
    go,
    leave_invented,
    plain,
    remember,
    shown_errors,
)
from .interlude import reached
from .places import DEMO, anchors_file, invented_url, kept_in, record_url

if TYPE_CHECKING:
    from streamlit.navigation.page import StreamlitPage

STYLE = """<style>
.stMainBlockContainer { padding-top: 4.5rem; max-width: 1216px; }
.st-key-invented-bar {
  border: 1px solid #b87a00; border-radius: 8px; padding: 0.25rem 0.75rem;
  background: color-mix(in srgb, #e69f00 18%, transparent);
}
.st-key-step-bar { border-bottom: 1px solid color-mix(in srgb, currentColor 20%, transparent); }
@media (max-width: 1000px) {
  [class*="st-key-beside-"] > * > [data-testid="stHorizontalBlock"] { flex-wrap: wrap; }
  [class*="st-key-beside-"] > * > [data-testid="stHorizontalBlock"] > [data-testid="stColumn"] {
    flex: 1 1 100%; min-width: 100%;
  }
}
</style>"""


@st.cache_resource(show_spinner=False)
def record(url: str) -> Repository:
    """One record for all visitors; it opens a connection for each action."""
    return open_store(url)


@st.cache_resource(show_spinner=False)
def filled(url: str) -> int:
    """Once a start: what sessions of an older release show is kept with them."""
    from ..sessions.filling import fill_outcomes, fill_sittings

    outcomes = fill_outcomes(record(url), who="this program")
    return outcomes + fill_sittings(record(url), who="this program")


@st.cache_resource(show_spinner=False)
def checking_daily(url: str) -> threading.Event:
    """Once a start: a thread that checks the record once a day; it stops when this is set."""
    from ..store.daily import check_daily

    stop = threading.Event()
    asked = (record(url), anchors_file(), stop)
    threading.Thread(target=check_daily, args=asked, name="daily check", daemon=True).start()
    return stop


@st.cache_resource(show_spinner=False)
def panel_kept_ready(url: str) -> threading.Event:
    """Once a start: a thread that works the page Panel out beforehand, until this is set."""
    from sensory.screens.panel_ready import keep_ready

    stop = threading.Event()
    asked = (record(url), opened.DRAWN, stop)
    threading.Thread(target=keep_ready, args=asked, name="panel", daemon=True).start()
    return stop


def main() -> None:
    """Run one page of those that this visitor may see; no other is registered."""
    st.set_page_config(page_title="Against the reference", layout="wide")
    st.html(STYLE)
    who, person = identified(visitor())
    pages = pages_of(who)
    chosen = st.navigation(list(pages.values()), position="top")
    with shown_errors():
        if isinstance(who, Leader):
            remember(frame_of(who, person), pages)
            if current_frame().invented:
                invented_bar()
            way_out(who, person)
        elif isinstance(who, Booth):
            invented = bool(st.query_params.get("invented"))
            url = _url(invented)
            reached(lambda: remember(Frame(store=record(url), demo=DEMO), {}))
        chosen.run()
    st.session_state.pop(PRESSED, None)
    if isinstance(who, Leader):
        opened.DRAWN.set()


def frame_of(who: Leader, person: Person | None) -> Frame:
    """The own record, or that of invented data, where names are typed and nobody is proven."""
    if among_invented():
        url = _url(True)
        return Frame(store=record(url), demo=DEMO, place=kept_in(url), invented=True)
    url = _url(False)
    filled(url)
    checking_daily(url)
    panel_kept_ready(url)
    return Frame(store=record(url), demo=DEMO, how=who.how, person=person, place=kept_in(url))


def _url(invented: bool) -> str:
    return invented_url(record_url()) if invented else record_url()


def invented_bar() -> None:
    """What stands on every page as long as the data are invented, with the way out."""
    with st.container(key="invented-bar", horizontal=True, vertical_alignment="center"):
        st.markdown("**Invented data.** Nothing here is of your plant.", width="stretch")
        if st.button("Leave", key="leave-invented"):
            leave_invented()
            go("today")


def identified(who: Visitor) -> tuple[Visitor, Person | None]:
    """The person on record behind a sign-in; a stranger where the person no longer signs.

    Somebody for whom a provider vouches for the first time is put on record under the name of the
    list, and may agree questions; those who manage people may change that.
    """
    keeper = kept()
    if keeper is None or not isinstance(who, Leader):
        return who, None
    store = record(record_url())
    people = store.people()
    person = next((each for each in people if each.key == who.person), None)
    if person is None and who.listed:
        person = who_is(people, who.listed)
        if person is None:
            new = Person(name=who.listed, roles=("panel leader",), may=(Right.AGREE,))
            with suppress(RecordError):  # another window was faster
                enter_person(store, new, who=who.listed)
            person = who_is(store.people(), who.listed)
        if person is not None:
            keeper.link(person.key, who.listed)
    if person is None or not person.active:
        return Stranger(put_out=True), None
    return who, person


def pages_of(who: Visitor) -> dict[str, StreamlitPage]:
    """The pages of a visitor by name; each loads what it needs when it is opened."""
    if isinstance(who, Leader):
        return _leader_pages()
    if isinstance(who, Booth):
        return {"booth": st.Page(_booth_page(who.token), title="Booth", url_path="booth")}
    sign_in = st.Page(partial(stranger_page, who), title="Sign in", url_path="welcome")
    return {"welcome": sign_in}


def _booth_page(token: str) -> Callable[[], None]:
    """The booth of a session, or that of a screening series; each loads its own."""
    if token.startswith("s-"):
        from . import series_booth

        return partial(series_booth.page, token)
    from . import booth

    return partial(booth.page, token)


def _leader_pages() -> dict[str, StreamlitPage]:
    """Those of the menu in its order, then those that others lead to."""
    return {
        name: st.Page(
            page,
            title=opened.TITLES[name],
            url_path=name,
            default=name == "today",
            visibility="visible" if name in opened.MENU else "hidden",
        )
        for name, page in opened.PAGES.items()
    }


def stranger_page(stranger: Stranger) -> None:
    """A link to the sign-in, and nothing of the record."""
    st.title("Sign in")
    if not stranger.can_sign_in:
        st.markdown(
            "This program was started for one machine and listens to others. Start it with "
            "`sensory network`, which asks for a passcode."
        )
        return
    if stranger.put_out:
        st.markdown("You no longer sign in this record. Ask somebody who manages its people.")
    st.html(f'<a href="{SIGN_IN}" target="_self">Sign in with your passcode</a>')
    if provider.leaders():
        if st.user.is_logged_in and not stranger.put_out:
            st.markdown("You are signed in, but not on the list of panel leaders.")
        elif not st.user.is_logged_in and st.button("Sign in with your account", key="provider"):
            st.login()


def way_out(leader: Leader, person: Person | None) -> None:
    """Who is signed in, and the way out, where there is one."""
    if person is None:
        return
    if leader.listed:
        st.button(f"Sign out ({plain(person.name)})", key="sign-out", on_click=st.logout)
    else:
        link = f'{escape(person.name)} · <a href="{SIGN_OUT}" target="_self">Sign out</a>'
        st.html(f'<div style="text-align: right">{link}</div>')
