"""The file of accounts and the cookies: what is kept, and what cannot be forged."""

from __future__ import annotations

import gc
import json
import stat

import pytest
from argon2 import PasswordHasher

from sensory.base.errors import ArgumentError, RecordError
from sensory.screens.passcode import HOURS, Account, Keeper

PASSCODE = "plum cordial"
NORA, OTTO = "a" * 32, "b" * 32


@pytest.fixture
def path(tmp_path):
    path = tmp_path / "new folder" / "record.access.json"
    Keeper(path).set_passcode(NORA, PASSCODE, given=False)
    return path


@pytest.fixture
def keeper(path, clock):
    return Keeper(path, clock=clock)


def test_file_is_private_and_holds_a_hash_only(path):
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert PASSCODE not in path.read_text()
    assert json.loads(path.read_text())["accounts"][NORA]["passcode"].startswith("$argon2id$")
    assert [one.name for one in path.parent.iterdir()] == [path.name]


def test_only_the_passcode_is_right(keeper):
    assert keeper.right(NORA, PASSCODE)
    for wrong in ("", "plum cordial ", "Plum cordial", "x" * 10_000):
        assert not keeper.right(NORA, wrong)


def test_passcode_is_that_of_its_person_only(keeper):
    keeper.set_passcode(OTTO, "quince cordial", given=True)
    keeper.link("c" * 32, "subject-1")
    assert keeper.right(OTTO, "quince cordial")
    for person in (OTTO, "c" * 32, "d" * 32, "", None):
        assert not keeper.right(person, PASSCODE)
        assert not keeper.right(person, "")
    assert keeper.able() == {NORA, OTTO, "c" * 32}
    assert (keeper.given(NORA), keeper.given(OTTO), keeper.given("d" * 32)) == (False, True, False)


def test_letters_are_the_same_from_any_keyboard(path):
    Keeper(path).set_passcode(NORA, "Birne süß", given=False)
    assert Keeper(path).right(NORA, "Birne su\u0308ß")


@pytest.mark.parametrize("passcode", ["", "seven77", "x" * 201])
def test_short_and_endless_passcodes_are_refused(tmp_path, passcode):
    with pytest.raises(ArgumentError, match=f"8 to 200 characters; got {len(passcode)}"):
        Keeper(tmp_path / "a.json").set_passcode(NORA, passcode, given=False)
    assert not list(tmp_path.iterdir())


def test_cookie_is_good_until_its_end(keeper, clock):
    cookie = keeper.cookie(NORA)
    assert cookie != keeper.cookie(NORA)
    clock.now += HOURS * 3600 - 1
    assert keeper.signed_in(cookie) == NORA
    clock.now += 1
    assert not keeper.signed_in(cookie)


def test_forged_cookies_are_refused(keeper):
    keeper.set_passcode(OTTO, "quince cordial", given=False)
    end, name, person, signature = keeper.cookie(NORA).split(".")
    later = str(int(end) + 1)
    for forged in (
        None,
        "",
        "..",
        "leader",
        "...",
        f"{later}.{name}.{person}.{signature}",
        f"{end}.{name}x.{person}.{signature}",
        f"{end}.{name}.{OTTO}.{signature}",
        f"{end}.{name}.{'c' * 32}.{signature}",
        f"{end}.{name}.{person}.{'0' * len(signature)}",
        f"{end}.{name}.{person}.",
        f"{end}.{name}.{person}",
        f"{end}.{name}.{signature}",
        f"{end}.{name}.{person}.{signature}.",
        f"{end}.{name}.{person}.{signature[:-1]}ä",
        f" {end}.{name}.{person}.{signature}",
    ):
        assert not keeper.signed_in(forged), forged


def test_every_changed_character_spoils_a_cookie(keeper):
    cookie = keeper.cookie(NORA)
    for place, letter in enumerate(cookie):
        other = "1" if letter == "0" else "0"
        assert not keeper.signed_in(cookie[:place] + other + cookie[place + 1 :]), place


def test_cookie_of_another_key_is_refused(keeper, tmp_path, clock):
    other = Keeper(tmp_path / "other.json", clock=clock)
    other.set_passcode(NORA, PASSCODE, given=False)
    assert not keeper.signed_in(other.cookie(NORA))


def test_new_passcode_ends_all_cookies_of_its_person_only(keeper, path, clock):
    keeper.set_passcode(OTTO, "quince cordial", given=False)
    cookies, others = [keeper.cookie(NORA), keeper.cookie(NORA)], keeper.cookie(OTTO)
    keeper.set_passcode(NORA, "another cordial", given=False)
    for each in (keeper, Keeper(path, clock=clock)):
        assert not any(map(each.signed_in, cookies))
        assert each.signed_in(others) == OTTO
        assert not each.right(NORA, PASSCODE)
        assert each.right(NORA, "another cordial")


def test_who_is_dropped_cannot_come_in_and_is_out(keeper, path, clock):
    cookie = keeper.cookie(NORA)
    keeper.drop(NORA)
    for each in (keeper, Keeper(path, clock=clock)):
        assert not each.signed_in(cookie)
        assert not each.right(NORA, PASSCODE)
        assert each.able() == frozenset()


def test_who_is_dropped_stays_the_one_for_whom_a_provider_vouches(keeper):
    keeper.link(NORA, "subject-1")
    keeper.drop(NORA)
    assert keeper.person_of("subject-1") == NORA
    assert not keeper.right(NORA, PASSCODE)


def test_provider_vouches_for_one_person_under_a_name(keeper, path):
    keeper.link(NORA, "subject-1")
    assert (keeper.person_of("subject-1"), keeper.provider_of(NORA)) == (NORA, "subject-1")
    assert keeper.right(NORA, PASSCODE)
    with pytest.raises(ArgumentError, match="that of another person"):
        keeper.link(OTTO, "subject-1")
    assert Keeper(path).person_of("subject-1") == NORA
    keeper.link(NORA, "")
    assert keeper.person_of("subject-1") is None


def test_passcode_of_an_older_program_becomes_that_of_the_first_account(tmp_path):
    path = tmp_path / "record.access.json"
    hashed = PasswordHasher().hash(PASSCODE)
    path.write_text(json.dumps({"passcode": hashed, "key": "0f" * 32, "withdrawn": {}}))
    path.chmod(0o600)
    keeper = Keeper(path)
    assert keeper.able() == frozenset()
    keeper.adopt(NORA)
    for each in (keeper, Keeper(path)):
        assert each.right(NORA, PASSCODE)
        assert (each.single, each.able()) == ("", {NORA})


def test_sign_out_holds_for_copies_and_after_a_new_start_and_for_one_cookie_only(
    keeper, path, clock
):
    one, other = keeper.cookie(NORA), keeper.cookie(NORA)
    keeper.sign_out(one)
    for each in (keeper, Keeper(path, clock=clock)):
        assert not each.signed_in(one)
        assert each.signed_in(other)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_withdrawn_cookies_are_forgotten_after_their_end(keeper, path, clock):
    keeper.sign_out(keeper.cookie(NORA))
    clock.now += HOURS * 3600 + 1
    keeper.sign_out(keeper.cookie(NORA))
    assert len(json.loads(path.read_text())["withdrawn"]) == 1


def test_signing_out_a_forged_cookie_writes_nothing(keeper, path):
    before = path.read_text()
    keeper.sign_out("1.2.3")
    keeper.sign_out(None)
    assert path.read_text() == before


@pytest.mark.parametrize("mode", [0o640, 0o604, 0o644])
def test_file_that_others_may_read_is_refused(path, mode):
    path.chmod(mode)
    with pytest.raises(RecordError, match="chmod 600"):
        Keeper(path)


KEPT = '{"accounts": {"a": {"passcode": "x", "key": "%s"}}, "withdrawn": %s}'


@pytest.mark.parametrize(
    "text",
    [
        *("", "[]", "{}", '{"accounts": []}', '{"accounts": {"a": []}}'),
        *(KEPT % ("zz", "{}"), KEPT % ("00", "{}"), KEPT % ("00" * 32, "[]")),
        '{"accounts": {"a": {"pass": "x"}}}',
    ],
)
def test_damaged_files_are_named(path, text):
    path.write_text(text)
    with pytest.raises(RecordError, match=r"record\.access\.json is damaged"):
        Keeper(path)


def test_file_that_is_not_there_yet_holds_nobody(path):
    path.unlink()
    assert Keeper(path).able() == frozenset()
    assert not path.exists()


def test_what_another_process_writes_holds_at_once_and_is_not_undone(keeper, path, clock):
    """As `sensory network --new-passcode` does beside a server that runs."""
    cookies = [keeper.cookie(NORA), keeper.cookie(NORA)]
    beside = Keeper(path, clock=clock)
    beside.set_passcode(NORA, "another cordial", given=False)
    beside.set_passcode(OTTO, "quince cordial", given=False)
    assert not keeper.signed_in(cookies[0])
    assert keeper.right(NORA, "another cordial")
    assert not keeper.right(NORA, PASSCODE)
    assert keeper.able() == {NORA, OTTO}
    keeper.sign_out(keeper.cookie(OTTO))
    for each in (keeper, beside, Keeper(path)):
        assert each.right(NORA, "another cordial")
        assert each.right(OTTO, "quince cordial")


def test_no_hash_is_held_in_memory(keeper, path):
    hashed = json.loads(path.read_text())["accounts"][NORA]["passcode"]
    keeper.right(NORA, PASSCODE)
    keeper.sign_out(keeper.cookie(NORA))
    gc.collect()
    held = [each for each in gc.get_objects() if isinstance(each, (Keeper, Account, dict, tuple))]
    assert not any(hashed in holds(each) for each in held)


def holds(held) -> list[object]:
    """The values directly in an object; slots are looked through, as `Account` has them."""
    if isinstance(held, dict):
        return [value for value in held.values() if type(value) is str]
    if isinstance(held, tuple):
        return [value for value in held if type(value) is str]
    names = getattr(type(held), "__slots__", ())
    return [getattr(held, name, None) for name in names if name != "__weakref__"]


def test_as_long_as_the_file_cannot_be_read_nobody_is_in_and_nothing_is_written(keeper, path):
    cookie, whole = keeper.cookie(NORA), path.read_text()
    path.write_text("{")
    assert not keeper.signed_in(cookie)
    with pytest.raises(RecordError, match="is damaged"):
        keeper.set_passcode(OTTO, "quince cordial", given=False)
    assert path.read_text() == "{"
    path.write_text(whole)
    path.chmod(0o644)
    assert not keeper.signed_in(cookie)
    path.chmod(0o600)
    assert keeper.signed_in(cookie) == NORA
