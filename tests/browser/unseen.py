"""A browser without a window: it goes where it is sent, keeps its cookies, and reads what a page
says over its websocket, which costs a tenth of a real one."""

from __future__ import annotations

import urllib.error
import urllib.request
from collections.abc import Mapping
from http.cookiejar import CookieJar
from typing import Any

from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from websockets.sync.client import connect

XSRF = "_streamlit_xsrf"
LONGEST = 180  # seconds that a page may take to say something, on a machine that does other things


class Browser:
    """Goes where it is sent and keeps its cookies, as a browser does, but draws nothing."""

    def __init__(self, url: str):
        self.url, self.jar = url, CookieJar()
        self._ways = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(self.jar))

    @property
    def cookies(self) -> dict[str, str]:
        return {cookie.name: cookie.value or "" for cookie in self.jar}

    def get(self, address: str) -> tuple[int, str]:
        """Status and address of where it ends."""
        try:
            with self._ways.open(address, timeout=30) as answer:
                return answer.status, answer.url
        except urllib.error.HTTPError as refused:
            return refused.code, refused.url

    def press(self, label: str) -> None:
        """Press the button that begins so, and follow where the page sends the browser."""
        drawn = Drawn(self.url, self.cookies, press=label)
        assert drawn.way, f"{label!r} leads nowhere"
        self.get(f"{self.url}{drawn.way}")

    def page(self) -> str:
        """All texts of the first page."""
        return Drawn(self.url, self.cookies).text


class Drawn:
    """A page as its server sends it to a browser with these cookies, after a press of a button.

    `page` and `asked`: the path of its address, none for the first, and what follows the '?'.
    """

    def __init__(
        self, url: str, cookies: Mapping[str, str], press: str = "", page: str = "", asked: str = ""
    ):
        fresh = Browser(url)
        fresh.get(f"{url}/_stcore/health")
        token = fresh.cookies[XSRF]
        sent = "; ".join(f"{name}={value}" for name, value in {**cookies, XSRF: token}.items())
        self._page, self._asked = page, asked
        self.text, self.way, self._buttons = "", "", dict[str, str]()
        with connect(
            f"{url.replace('http', 'ws')}/_stcore/stream",
            origin=url,
            subprotocols=["streamlit", token],
            additional_headers={"Cookie": sent},
            max_size=None,
            proxy=None,
        ) as wire:
            self._run(wire, "")
            if press:
                (button,) = (id for label, id in self._buttons.items() if label.startswith(press))
                self._run(wire, button)

    def _run(self, wire: Any, pressed: str) -> None:
        asked = BackMsg()
        asked.rerun_script.query_string = self._asked
        asked.rerun_script.page_name = self._page
        if pressed:
            asked.rerun_script.widget_states.widgets.add(id=pressed, trigger_value=True)
        wire.send(asked.SerializeToString())
        while True:
            message = ForwardMsg.FromString(wire.recv(timeout=LONGEST))
            self.text += str(message)
            kind = message.WhichOneof("type")
            if kind == "auth_redirect":
                self.way = message.auth_redirect.url
            elif kind == "script_finished":
                if message.script_finished == ForwardMsg.FINISHED_SUCCESSFULLY:
                    return
            elif kind == "delta" and message.delta.new_element.WhichOneof("type") == "button":
                button = message.delta.new_element.button
                self._buttons[button.label] = button.id
