"""One of several windows on the same booths: marks its own answer, and sends what it shows.

python window_process.py URL PLACE TOKEN ...
"""

from __future__ import annotations

import random
import sys
import time

from sensory.base.errors import RecordError
from sensory.sessions import booths
from sensory.store.repository import open_store

FASTER = ("not the one that waits", "Still to be answered", "Another window")


def main(url: str, place: str, *tokens: str) -> None:
    """Answer each ballot with the code in this place; name each that was sent as shown."""
    store, rng = open_store(url), random.Random(int(place))
    print("ready", flush=True)
    for token in tokens:
        while not booths.visit(store, token).consented:
            time.sleep(0.01)
        while (ballot := booths.visit(store, token).ballot) is not None:
            line = ballot.line
            shown = {line: {"answer": ballot.codes[int(place)]}}
            try:
                if rng.random() < 0.7:
                    booths.keep(store, token, line, shown)
                after = booths.send(store, token, line, shown=shown).ballot
            except RecordError as error:
                if not any(words in str(error) for words in FASTER):
                    raise
                continue
            if after is None or after.line != line:
                print(line, shown[line]["answer"], flush=True)
    store.close()


if __name__ == "__main__":
    main(*sys.argv[1:])
