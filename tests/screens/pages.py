"""How the tests of this folder open pages, put sessions on record and read a page."""

from __future__ import annotations

import json
from pathlib import Path

from streamlit.testing.v1 import AppTest

from sensory.sessions import workflow
from sensory.store.repository import Repository

DEMO = Path(__file__).parents[2] / "demo_data"
BY = "A. Leader"
SCRIPT = """
from pathlib import Path
import streamlit as st
from sensory.screens import {page}
from sensory.screens.frame import Frame, remember
from sensory.screens.opened import PAGES
from sensory.store.repository import open_store

pages = {{name: st.Page(lambda: None, title=name, url_path=name) for name in PAGES}}
remember(Frame(store=open_store({url!r}), demo=Path({demo!r})), pages)
st.query_params.update({asked!r})
{page}.page{arguments!r}
"""


def run(page: str, url: str, session: str | None = "s1", *arguments: str, batch: str = ""):
    """A page on the record at `url`, as it is shown first."""
    asked = {"batch": batch} if batch else {} if session is None else {"session": session}
    script = SCRIPT.format(page=page, url=url, demo=str(DEMO), asked=asked, arguments=arguments)
    return sound(AppTest.from_string(script, default_timeout=60).run())


def booth(url: str, token: str) -> AppTest:
    return run("booth", url, None, token)


def sound(app: AppTest) -> AppTest:
    assert not app.exception
    return app


def fill(app: AppTest, **values: object) -> AppTest:
    """Set fields by their keys, with _ for -, and run once."""
    _set(app, values)
    return sound(app.run())


def submit(app: AppTest, key: str, **values: object) -> AppTest:
    """Set fields of a form, which hands them over with its button only."""
    _set(app, values)
    return click(app, key)


def _set(app: AppTest, values: dict[str, object]) -> None:
    kinds = (app.text_input, app.text_area, app.number_input, app.selectbox, app.radio,
             app.multiselect, app.checkbox)  # fmt: skip
    fields = {field.key.replace("-", "_"): field for kind in kinds for field in kind if field.key}
    for key, value in values.items():
        fields[key.replace("-", "_")].set_value(value)


def click(app: AppTest, key: str) -> AppTest:
    return sound(app.button(key=key).click().run())


def keys(app: AppTest) -> set[str]:
    return {button.key for button in app.button}


def ballot(app: AppTest) -> dict | None:
    """What the script of a booth is given to draw; None where the page has no ballot."""
    drawn = [json.loads(each.proto.json or "{}") for each in app.get("bidi_component")]
    return next((json.loads(data["view"]) for data in drawn if "view" in data), None)


def marked(app: AppTest) -> str:
    """What a page says, as markup."""
    parts = [*app.title, *app.subheader, *app.markdown, *app.info, *app.error, *app.warning]
    return "\n".join([*(part.value for part in parts), *_texts(ballot(app))])


def _texts(view: object) -> list[str]:
    """All that a ballot says, and its keys with it."""
    if isinstance(view, dict):
        return _texts(list(view.values()))
    return (
        [text for each in view for text in _texts(each)] if isinstance(view, list) else [str(view)]
    )


def words(app: AppTest) -> str:
    """What a page says, without the marks that keep it from being markup."""
    return marked(app).replace("\\", "").replace("\N{WORD JOINER}", "")


def put(store: Repository, name="suspect_batch", stage="open", *, cells=True, here="s1"):
    """A prepared session on record, open, agreed or closed."""
    prepared = workflow.read_prepared(DEMO, name)
    if not cells:
        del prepared["cells"]
    workflow.open_session(store, here, **prepared, who="t", why="t")
    if stage in ("agreed", "closed"):
        workflow.agree(store, here, who=BY)
    if stage == "closed":
        workflow.close(store, here, who=BY)
    return store.session(here)
