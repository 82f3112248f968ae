"""The passcode file and the cookies: what is kept, and what cannot be forged."""

from __future__ import annotations

import json
import stat

import pytest

from sensory.base.errors import ArgumentError, RecordError
from sensory.screens.passcode import HOURS, Keeper, set_passcode

PASSCODE = "plum cordial"


@pytest.fixture
def path(tmp_path):
    path = tmp_path / "new folder" / "record.access.json"
    set_passcode(path, PASSCODE)
    return path


@pytest.fixture
def keeper(path, clock):
    return Keeper(path, clock=clock)


def test_file_is_private_and_holds_a_hash_only(path):
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert PASSCODE not in path.read_text()
    assert json.loads(path.read_text())["passcode"].startswith("$argon2id$")
    assert [one.name for one in path.parent.iterdir()] == [path.name]


def test_only_the_passcode_is_right(keeper):
    assert keeper.right(PASSCODE)
    for wrong in ("", "plum cordial ", "Plum cordial", "x" * 10_000):
        assert not keeper.right(wrong)


def test_letters_are_the_same_from_any_keyboard(path):
    set_passcode(path, "Birne süß")
    assert Keeper(path).right("Birne su\u0308ß")


@pytest.mark.parametrize("passcode", ["", "seven77", "x" * 201])
def test_short_and_endless_passcodes_are_refused(tmp_path, passcode):
    with pytest.raises(ArgumentError, match=f"8 to 200 characters; got {len(passcode)}"):
        set_passcode(tmp_path / "a.json", passcode)
    assert not list(tmp_path.iterdir())


def test_cookie_is_good_until_its_end(keeper, clock):
    cookie = keeper.cookie()
    assert cookie != keeper.cookie()
    clock.now += HOURS * 3600 - 1
    assert keeper.signed_in(cookie)
    clock.now += 1
    assert not keeper.signed_in(cookie)


def test_forged_cookies_are_refused(keeper):
    end, name, signature = keeper.cookie().split(".")
    later = str(int(end) + 1)
    for forged in (
        None,
        "",
        "..",
        "leader",
        f"{later}.{name}.{signature}",
        f"{end}.{name}x.{signature}",
        f"{end}.{name}.{'0' * len(signature)}",
        f"{end}.{name}.",
        f"{end}.{name}",
        f"{end}.{name}.{signature}.",
        f"{end}.{name}.{signature[:-1]}ä",
        f" {end}.{name}.{signature}",
    ):
        assert not keeper.signed_in(forged), forged


def test_every_changed_character_spoils_a_cookie(keeper):
    cookie = keeper.cookie()
    for place, letter in enumerate(cookie):
        other = "1" if letter == "0" else "0"
        assert not keeper.signed_in(cookie[:place] + other + cookie[place + 1 :]), place


def test_cookie_of_another_key_is_refused(keeper, tmp_path, clock):
    set_passcode(tmp_path / "other.json", PASSCODE)
    assert not keeper.signed_in(Keeper(tmp_path / "other.json", clock=clock).cookie())


def test_new_passcode_ends_all_cookies(keeper, path, clock):
    cookie = keeper.cookie()
    set_passcode(path, "another cordial")
    anew = Keeper(path, clock=clock)
    assert not anew.signed_in(cookie)
    assert not anew.right(PASSCODE)


def test_sign_out_holds_for_copies_and_after_a_new_start_and_for_one_cookie_only(
    keeper, path, clock
):
    one, other = keeper.cookie(), keeper.cookie()
    keeper.sign_out(one)
    for each in (keeper, Keeper(path, clock=clock)):
        assert not each.signed_in(one)
        assert each.signed_in(other)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_withdrawn_cookies_are_forgotten_after_their_end(keeper, path, clock):
    keeper.sign_out(keeper.cookie())
    clock.now += HOURS * 3600 + 1
    keeper.sign_out(keeper.cookie())
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


KEPT = '{"passcode": "x", "key": "%s", "withdrawn": %s}'


@pytest.mark.parametrize(
    "text", ["", "[]", "{}", KEPT % ("zz", "{}"), KEPT % ("00", "{}"), KEPT % ("00", "[]")]
)
def test_damaged_and_missing_files_are_named(path, text):
    path.write_text(text)
    with pytest.raises(RecordError, match=r"record\.access\.json is damaged"):
        Keeper(path)
    path.unlink()
    with pytest.raises(RecordError, match=r"record\.access\.json cannot be read"):
        Keeper(path)
