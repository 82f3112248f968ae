"""A server that has nothing but the route of answers, on the record at a URL; says its port.

python answers_process.py URL
"""

from __future__ import annotations

import asyncio
import socket
import sys

import uvicorn
from starlette.applications import Starlette

from sensory.screens.answers import Answers
from sensory.store.repository import open_store


def main(url: str) -> None:
    store = open_store(url)
    app = Starlette(routes=Answers(lambda invented: store).routes())
    with socket.create_server(("127.0.0.1", 0)) as door:
        print(door.getsockname()[1], flush=True)
        server = uvicorn.Server(uvicorn.Config(app, log_level="error"))
        asyncio.run(server.serve(sockets=[door]))


if __name__ == "__main__":
    main(*sys.argv[1:])
