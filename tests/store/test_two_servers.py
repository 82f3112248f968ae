"""Two servers behind one address, on one record: what comes to them by turns is there once."""

from __future__ import annotations

import json
import urllib.request
from concurrent.futures import ThreadPoolExecutor
from itertools import count, cycle
from typing import Any

from sensory.screens.answers import ANSWERS
from sensory.sessions import booths

from ..sessions.shared import answers_written, at_booths, waiting

PEOPLE, SETS = ("Anna", "Bo", "Cleo"), 3


def said(port: str, turn: int, **content: Any) -> dict[str, object]:
    """An answer, or that a ballot is sent, as a booth page at the address of both would give it."""
    request = urllib.request.Request(
        f"http://127.0.0.1:{port}{ANSWERS}",
        json.dumps(
            {"window": f"{abs(hash(content['token'])):016x}", "turn": turn, **content}
        ).encode(),
        {"Content-Type": "application/json", "Host": "plant", "Origin": "http://plant"},
    )
    with urllib.request.urlopen(request, timeout=30) as told:
        return dict(json.load(told))


def test_answers_by_turns_to_two_servers_are_there_once(opens, any_url, run_script):
    store = opens(any_url)
    session_id, _, tokens = at_booths(store, people=PEOPLE, replicates=SETS)
    ports = [run_script("answers_process.py", any_url).stdout.readline().strip() for _ in range(2)]
    for token in tokens.values():
        booths.consent(store, token)

    def sit(token: str) -> dict[int, list[str]]:
        ways, turns, given = cycle(ports), count(1), {}
        for _ in range(SETS):
            ballot = waiting(store, token)
            line, known = ballot.line, [""]
            for code in (ballot.codes[0], ballot.codes[2], ballot.codes[2]):  # the last comes twice
                place = {"token": token, "line": line, "row": line, "name": "answer"}
                told = said(next(ways), next(turns), **place, given=code, over=known)
                assert told == {"text": code, "open": []}
                known = [code]
            given[line] = [ballot.codes[0], ballot.codes[2]]
            shown = [[line, "answer", ballot.codes[2]]]
            for _ in range(2):  # the acknowledgement of the first got lost
                sent_as = {"token": token, "line": line, "shown": shown}
                assert "next" in said(next(ways), next(turns), **sent_as)
        return given

    with ThreadPoolExecutor(len(PEOPLE)) as pool:
        given = {
            line: codes for own in pool.map(sit, tokens.values()) for line, codes in own.items()
        }
    written, sent = answers_written(store, session_id)
    assert written == given
    assert sorted(sent) == sorted(given), "sent twice, or not at all"
    assert len(given) == len(PEOPLE) * SETS
    kept = store.cells(session_id)
    assert all(kept[line]["answer"] == codes[-1] for line, codes in given.items())
    assert all(kept[line]["sent"] for line in given)
    assert store.verify() == []
