"""Writes numbered answers into one line of a session, saying each once it is acknowledged.

python writing_process.py URL SESSION LINE COUNT
"""

from __future__ import annotations

import sys

from sensory.store.repository import open_store


def main(url: str, session: str, line: str, count: str) -> None:
    """Write `count` cells, one transaction each."""
    store = open_store(url)
    for number in range(int(count)):
        cell = {int(line): {f"cell_{number}": f"{line}-{number}"}}
        with store.action(who=f"writer {line}", why="typed") as act:
            written = act.write_lines(session, cell)
        print(number, written, flush=True)


if __name__ == "__main__":
    main(*sys.argv[1:])
