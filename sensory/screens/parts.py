"""What pages are made of: lists, tables, choices, downloads, and buttons that act."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import partial
from mimetypes import guess_type
from typing import TYPE_CHECKING, Literal, TypeVar

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from ..base.findings import Finding
from ..base.results import Table
from ..report.words import column_heading
from .frame import PRESSED, go, minute, plain, shown_errors

if TYPE_CHECKING:
    from ..report.figure_parts import Spec

Option = TypeVar("Option")
_STAMPED = "at (UTC)"
FONT = '"Source Sans", sans-serif'
"""That of the pages."""
SIGNS = {
    Finding.DIFFERENT: "≠",
    Finding.SIMILAR: "≈",
    Finding.DIFFERENT_WITHIN_LIMIT: "≠ but ≈",
    Finding.BEYOND_LIMIT: "≫",
    Finding.UNDECIDED: "?",
}


def listed(lines: Iterable[str], most: int = 1000, rest: str = "") -> None:
    """Texts of users as a list; `rest` says where those beyond `most` are."""
    shown = [f"- {plain(line)}" for line in lines]
    st.markdown("\n".join(shown[:most]))
    if len(shown) > most:
        st.markdown(f"and {len(shown) - most} more{rest}")


def cells_of(table: Table, shown: Callable[[str], str] = plain) -> list[dict[str, str]]:
    """Texts of the cells; those of a table are markup, those of a grid are not (`str`).

    Times of the record are those of this machine's clock on a screen, and UTC on paper.
    """
    heads = ["at" if name == _STAMPED else column_heading(name) for name in table.columns]
    reads = [_on_this_clock if name == _STAMPED else str for name in table.columns]
    return [
        {head: shown(read(text)) for head, read, text in zip(heads, reads, row, strict=True)}
        for row in table.texts()
    ]


def _on_this_clock(stamp: str) -> str:
    return minute(stamp) if stamp else ""


def show_table(table: Table | Sequence[Mapping[str, str]]) -> None:
    """A table as it is read; the texts of ready rows are markup."""
    st.table(cells_of(table) if isinstance(table, Table) else table, hide_index=True)


def scroll(table: Table | Sequence[Mapping[str, object]], height: int | None = None) -> None:
    """A table that scrolls; its texts are no markup."""
    rows = cells_of(table, str) if isinstance(table, Table) else table
    st.dataframe(rows, hide_index=True, width="stretch", height=height or "auto")


def show_figure(
    key: str, figure: Spec, words: str, width: Literal["stretch", "content"] = "stretch"
) -> None:
    """A chart in the font of the page, and what it shows in words for who does not see it."""
    shown = {**figure, "config": {**figure["config"], "font": FONT}}
    with st.container(key=key):
        st.vega_lite_chart(spec=shown, theme=None, width=width, alt=words)


def side_by_side(
    key: str, widths: int | list[int], gap: Literal["medium", "large"] = "large"
) -> list[DeltaGenerator]:
    """Columns of a page, one below the other in a window that is too narrow for them."""
    with st.container(key=f"beside-{key}"):
        return st.columns(widths, gap=gap)


def choose(
    label: str,
    options: Sequence[Option],
    now: object,
    key: str,
    *,
    words: Callable[[Option], str] = str,
    place: DeltaGenerator | None = None,
) -> Option:
    """One of the options, at first `now`, or the first one where that is none of them."""
    at = next((at for at, option in enumerate(options) if option == now), 0)
    return (place or st).selectbox(label, options, index=at, format_func=words, key=key)


def paged(total: int, most: int, key: str) -> int:
    """How many of the latest batches are skipped; a choice of pages where they do not fit one."""
    if total <= most:
        return 0
    words = {
        skip: f"{skip + 1} to {min(skip + most, total)} of {total}, counted from the latest"
        for skip in range(0, total, most)
    }
    return choose("Batches", list(words), 0, key, words=lambda skip: words[skip])


def download(
    label: str,
    content: str | bytes | Callable[[], bytes],
    file: str,
    key: str,
    *,
    place: DeltaGenerator | None = None,
    primary: bool = False,
    explained: str | None = None,
) -> None:
    """A file to take along; its type follows from its name."""
    (place or st).download_button(
        label,
        content,
        file,
        guess_type(file)[0],
        key=key,
        type="primary" if primary else "secondary",
        help=explained,
        on_click="ignore",
    )


def pressed(
    label: str,
    key: str,
    *,
    primary: bool = False,
    ready: object = True,
    place: DeltaGenerator | None = None,
) -> bool:
    """Whether a button that is ready was pressed, in this run or in one that was overtaken.

    A run that another one overtakes before it is here, as when a typed cell arrives, would take
    the press with it; so it is remembered until a run comes to its end.
    """
    button = partial((place or st).button, type="primary") if primary else (place or st).button
    now = button(label, key=key, disabled=not ready, on_click=_remember, args=(key, label))
    kept = st.session_state.get(PRESSED, {}).pop(key, None) == label
    return (now or kept) and bool(ready)


def _remember(key: str, label: str) -> None:
    """What was pressed, and under which words: with others it is another question."""
    st.session_state.setdefault(PRESSED, {})[key] = label


def way(
    label: str,
    key: str,
    page: str,
    session: str | None = None,
    *,
    batch: str | None = None,
    primary: bool = True,
    place: DeltaGenerator | None = None,
) -> None:
    """A button that opens another page."""
    if pressed(label, key, primary=primary, place=place):
        go(page, session, batch=batch)


def act(
    label: str,
    key: str,
    action: Callable[[], object],
    *,
    ready: object = True,
    primary: bool = False,
    place: DeltaGenerator | None = None,
    then: Callable[[], object] = st.rerun,
) -> None:
    """A button that writes something and then draws the page anew, or opens another; what stands
    against it is shown."""
    if pressed(label, key, primary=primary, ready=ready, place=place):
        with shown_errors():
            action()
            then()
