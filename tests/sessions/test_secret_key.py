"""The key of a session stays secret: seeds that nobody can try out, and plans made before.

Run as a script, the codes of one booth are tried against 2^20 seeds instead of 2^17 (20 s): none
of them gives the codes.
"""

from __future__ import annotations

import hashlib
import random
from collections.abc import Iterator, Sequence
from dataclasses import replace

import pytest

from sensory.base.errors import ArgumentError, RecordError
from sensory.serving.chance import SECRET_BITS, Draw, guessable, new_seed
from sensory.serving.codes import CODES, blinding_codes
from sensory.serving.lines import ballot_lines
from sensory.serving.planning import serving_plan
from sensory.sessions import booth_places, booth_plans, booths, exclusions, workflow
from sensory.sessions.serving import seats_of

from .shared import BY, PEOPLE, agreed, answered, at_booths, fill, finish, lines_of, waiting

SHORT = 4_711
TRIED = 2**17
AHEAD = 128


def seeds_giving(codes: Sequence[str], place: str, tried: int = TRIED) -> Iterator[int]:
    """The seeds below `tried` from which an assessor in this place has exactly these codes.

    All that is used is public. A code at the end of the list moves no more once a draw has hit it,
    so a seed is given up at the first draw that hits a code which the booth has.
    """
    known = {at for code in codes if (at := CODES.index(code)) < len(CODES) - AHEAD}
    places = range(len(CODES), len(CODES) - AHEAD, -1)
    source = random.Random()
    for seed in range(tried):
        digest = hashlib.sha256(f"{seed}\x1fcodes\x1f{place}".encode()).digest()
        source.seed(int.from_bytes(digest, "big"))  # as `Draw`, without making one a seed
        for count in places:
            if int(source.random() * count) in known:
                break
        else:
            if blinding_codes(len(codes), draw=Draw(seed, "codes", place)) == tuple(codes):
                yield seed


def old_plan(store, people=PEOPLE, **arranged):
    """A session at booths by a plan with a short seed, as sessions of 0.1.0 have it."""
    session_id, _, tokens = at_booths(store, people=people, **arranged)
    short = serving_plan("triangle", list(people), seed=SHORT, **arranged)
    with store.action(who=BY, why="as it was") as act:
        session = act.session(session_id)
        seated = short.renamed(seats_of(people))
        serving = replace(session.serving, planned=seated.to_dict())
        act.put(replace(session, serving=serving), expect=session, what="planned")
        lines = zip(sorted(act.cells(session_id)), ballot_lines(short).values(), strict=True)
        act.write_lines(session_id, dict(lines))
    return session_id, short, tokens


def shown_at(store, token):
    """All codes that a booth shows from its first ballot to its last."""
    booths.consent(store, token)
    codes = []
    while waiting(store, token) is not None:
        codes += answered(store, token)
    return codes


def test_no_seed_is_found_from_what_a_booth_shows_but_short_ones_are(store):
    drawn = serving_plan("triangle", list(PEOPLE), seed=new_seed(), replicates=10)
    session_id = agreed(store, "suspect_batch")
    booth_plans.serve(store, session_id, drawn, ballot_lines(drawn), who=BY)
    exclusions.declare_allergens(store, session_id, dict.fromkeys("AB", "none"), who=BY)
    codes = shown_at(store, booth_plans.open_booths(store, session_id, who=BY)["Anna"])
    assert len(set(codes)) == 30
    assert list(seeds_giving(codes, "P01")) == []
    short = serving_plan("triangle", list(PEOPLE), seed=SHORT, replicates=10)
    found = next(seeds_giving(short.codes["Anna"], "P01"))
    assert serving_plan("triangle", list(PEOPLE), seed=found, replicates=10).key() == short.key()


def test_a_fresh_seed_has_128_bits_and_no_two_are_alike():
    seeds = [new_seed() for _ in range(1000)]
    assert len(set(seeds)) == 1000
    assert {seed.bit_length() for seed in seeds} == {SECRET_BITS + 1}
    ones = [sum(seed >> bit & 1 for seed in seeds) for bit in range(SECRET_BITS)]
    assert all(350 < count < 650 for count in ones)  # 9 standard deviations of a fair coin
    assert not any(map(guessable, seeds))
    assert guessable(2**SECRET_BITS - 1)


def test_codes_follow_from_places_and_not_from_names():
    named = serving_plan("triangle", ["Anna", "Bo"], seed=7)
    others = serving_plan("triangle", ["Cleo", "Dora"], seed=7)
    assert list(named.codes.values()) == list(others.codes.values())
    late = [plan.with_late(name) for plan, name in ((named, "Eva"), (named, "Finn"))]
    assert late[0].codes["Eva"] == late[1].codes["Finn"]


def test_the_seed_on_record_gives_the_plan_again_without_any_name(store):
    session_id, plan, _ = at_booths(store, seed=new_seed())
    kept = store.session(session_id).serving.plan
    store.erase_person("Anna", who=BY, why="asked for it")
    again = serving_plan("triangle", 3, seed=kept.seed)
    assert again.renamed(seats_of(again.assessors)) == kept
    assert kept.seed == plan.seed


def test_a_plan_with_a_short_seed_is_not_put_on_record(store):
    session_id = agreed(store, "suspect_batch")
    for seed in (SHORT, 2**SECRET_BITS - 1):
        plan = serving_plan("triangle", 3, seed=seed)
        with pytest.raises(ArgumentError, match=r"more than 128 bits.*new_seed\(\)"):
            booth_plans.serve(store, session_id, plan, ballot_lines(plan), who=BY)
    assert store.session(session_id).serving is None


def test_booths_of_a_short_seed_stop_until_the_session_is_planned_again(store):
    session_id, short, tokens = old_plan(store)
    assert booths.visit(store, tokens["Bo"]).paused
    for act in (
        lambda: booths.consent(store, tokens["Bo"]),
        lambda: booth_plans.open_booths(store, session_id, who=BY),
        lambda: booth_plans.add_late(store, session_id, "Dora", who=BY),
    ):
        with pytest.raises(RecordError, match="plan"):
            act()
    booth_plans.plan_again(store, session_id, who=BY)
    plan = booth_plans.served_plan(store, session_id)
    assert not guessable(plan.seed)
    assert (plan.assessors, plan.design) == (short.assessors, short.design)
    assert plan.evenness.rows[0] == short.evenness.rows[0]  # orders; which three is drawn
    assert not any(set(plan.codes[name]) & set(short.codes[name]) for name in PEOPLE)
    assert store.session(session_id).serving.plan.seed == plan.seed
    assert not booths.visit(store, tokens["Bo"]).paused
    for name in PEOPLE:
        finish(store, tokens[name])
    sent = [texts["order"] for texts in store.cells(session_id).values() if texts["sent"]]
    assert sent == [each.order for each in plan.sets]
    with pytest.raises(RecordError, match="need not be made again"):
        booth_plans.plan_again(store, session_id, who=BY)
    workflow.close(store, session_id, who=BY)
    assert store.verify() == []


def test_what_was_told_before_stays_when_it_is_planned_again(store):
    session_id, _, tokens = old_plan(store, people=("Anna", "Bo", "Cleo", "Dora"), replicates=2)
    exclusions.exclude(store, session_id, "Anna", ["A"], who=BY)
    exclusions.not_today(store, session_id, "Bo", who=BY)
    booth_plans.did_not_come(store, session_id, "Dora", who=BY)
    before = store.session(session_id).serving
    booth_plans.plan_again(store, session_id, who=BY)
    after = store.session(session_id).serving
    assert replace(after, planned=before.planned) == before
    marks = {
        name: {texts.get("not served") for texts in lines_of(store, session_id, name).values()}
        for name in ("Anna", "Bo", "Cleo", "Dora")
    }
    assert marks == {
        "Anna": {"not this sample"},
        "Bo": {"not today"},
        "Cleo": {None},
        "Dora": {"did not come"},
    }
    assert booth_plans.served_plan(store, session_id).assessors == ("Anna", "Bo", "Cleo")
    finish(store, tokens["Cleo"])
    assert store.verify() == []


@pytest.mark.parametrize("sent", [False, True], ids=["answered", "sent"])
def test_what_was_tasted_by_a_short_seed_is_kept_and_counts(store, monkeypatch, sent):
    session_id, _, tokens = old_plan(store)
    with monkeypatch.context() as before:
        before.setattr(booth_places, "to_be_planned_again", lambda session: False)
        finish(store, tokens["Anna"])
        booths.consent(store, tokens["Bo"])
        ballot = waiting(store, tokens["Bo"])
        fill(store, tokens["Bo"], ballot)
        if sent:
            booths.send(store, tokens["Bo"], ballot.line, shown={})
    cells = store.cells(session_id)
    with pytest.raises(RecordError, match=r"Tasting has begun.*open a new session"):
        booth_plans.plan_again(store, session_id, who=BY)
    with pytest.raises(RecordError, match="what was sent is kept"):
        booths.send(store, tokens["Bo"], ballot.line, shown={})
    assert store.cells(session_id) == cells
    workflow.close(store, session_id, who=BY)
    here = booths.visit(store, tokens["Cleo"])
    assert (here.closed, here.paused) == (True, False)
    judged = workflow.checked_ballots(store, session_id).rows
    assert sum(ballot.correct is not None for ballot in judged) == 1 + sent
    assert store.verify() == []


if __name__ == "__main__":
    secret = serving_plan("triangle", list(PEOPLE), seed=new_seed(), replicates=10)
    print("seeds that give the codes:", list(seeds_giving(secret.codes["Anna"], "P01", 2**20)))
