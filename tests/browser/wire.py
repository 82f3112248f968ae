"""A network between a booth and the server that goes away and comes back."""

from __future__ import annotations

import socket
import threading
from contextlib import suppress


class Wire:
    """A TCP proxy on an address of its own that can be cut and mended.

    Before it is cut it can swallow what is sent, as a network does that nobody answers on.
    """

    def __init__(self, to: int):
        self.to, self.port = to, 0
        self.ends: list[socket.socket] = []
        self.lock = threading.Lock()
        self.swallows = False
        self.mend()

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def mend(self) -> None:
        self.swallows = False
        self.door = socket.create_server(("127.0.0.1", self.port))
        self.port = self.door.getsockname()[1]
        threading.Thread(target=self._accept, args=(self.door,), daemon=True).start()

    def cut(self) -> None:
        with self.lock:
            ends, self.ends = [self.door, *self.ends], []
        for end in ends:
            with suppress(OSError):  # the other side was quicker
                end.shutdown(socket.SHUT_RDWR)
            end.close()

    def _accept(self, door: socket.socket) -> None:
        while True:
            try:
                near, _ = door.accept()
                far = socket.create_connection(("127.0.0.1", self.to))
            except OSError:
                return
            with self.lock:
                if self.door is not door or door.fileno() < 0:
                    near.close()
                    far.close()
                    return
                self.ends += [near, far]
            for pair in ((near, far), (far, near)):
                threading.Thread(target=self._carry, args=pair, daemon=True).start()

    def _carry(self, source: socket.socket, target: socket.socket) -> None:
        with suppress(OSError):
            while part := source.recv(65536):
                if not self.swallows:
                    target.sendall(part)
        for end in (source, target):
            with suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
