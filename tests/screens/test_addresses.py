"""The address on booth cards: this machine's in the network, never a tablet's own."""

from __future__ import annotations

import ipaddress

import pytest

from sensory.base.errors import ArgumentError
from sensory.release import plant_desk
from sensory.screens.addresses import booth_address, in_network, offered_address
from sensory.serving.lines import ballot_lines
from sensory.serving.planning import serving_plan
from sensory.sessions import booth_plans

from .pages import BY, click, fill, keys, put, run, words


@pytest.mark.parametrize("own", ["127.0.0.1", "localhost", "[::1]", "127.1.2.3", "0.0.0.0"])
def test_an_own_address_is_refused_with_the_reason_where_booths_are_elsewhere(own):
    with pytest.raises(ArgumentError, match="it means the tablet itself"):
        booth_address(f"http://{own}:8501", network=True)
    assert booth_address(f"http://{own}:8501", network=False) == f"http://{own}:8501"
    offered = offered_address(f"http://{own}:8501/serve", network=True, look=lambda: "10.0.0.12")
    assert offered == "http://10.0.0.12:8501"
    assert offered_address(f"http://{own}:8501", network=True, look=lambda: "") == ""


@pytest.mark.parametrize("typed", ["", "ftp://10.0.0.12", "http://a b", "http://a:b", "http://a/x"])
def test_what_is_no_address_is_refused(typed):
    with pytest.raises(ArgumentError, match=r"is no address|need an address"):
        booth_address(typed, network=True)


def test_the_system_names_an_address_or_none():
    found = in_network()
    assert not found or not ipaddress.ip_address(found).is_unspecified


def links(app):
    return [link for table in app.table if "link" in table.value for link in table.value["link"]]


def test_links_and_cards_carry_the_address_that_is_shown_and_can_be_changed(
    store, url, monkeypatch
):
    """Cards held http://127.0.0.1 in the network mode."""
    monkeypatch.setattr("sensory.screens.booth_links.kept", object)
    put(store, "suspect_batch", "agreed", cells=False)
    plan = serving_plan("triangle", ["Anna", "Bo"], seed=2**128 + 69)
    booth_plans.serve(store, "s1", plan, ballot_lines(plan), who=BY)
    app = run("serve", url)
    fill(app, **{"address-s1": "http://127.0.0.1:8501"})
    assert "means the tablet itself" in words(app)
    assert app.button(key="open-booths").disabled
    fill(app, **{"address-s1": "http://10.0.0.12:8501"})
    click(app, "open-booths")
    assert len(links(app)) == 2
    assert all(link.startswith("http://10.0.0.12:8501/?booth=") for link in links(app))
    assert "sheet-cards" in {each.key for each in app.get("download_button")}
    fill(app, **{"address-s1": "tasting.plant.example:8501"})
    assert all(link.startswith("http://tasting.plant.example:8501/") for link in links(app))
    fill(app, **{"address-s1": "localhost:8501"})
    assert links(app) == []
    assert "sheet-cards" not in {each.key for each in app.get("download_button")}
    later = run("serve", url)  # in another browser, another day
    assert later.text_input(key="address-s1").value == "http://tasting.plant.example:8501"
    assert plant_desk.the_plant(store).booths_at == "http://tasting.plant.example:8501"
    fill(app, **{"address-s1": "http://10.0.0.13:8501"})
    later.run()  # the older window changed nothing since, and takes nothing back
    assert plant_desk.the_plant(store).booths_at == "http://10.0.0.13:8501"
    assert store.verify() == []


def test_settings_hold_the_address_too_where_booths_may_stand_elsewhere(store, url, monkeypatch):
    assert "save-booths" not in keys(run("settings", url, None))
    monkeypatch.setattr("sensory.screens.settings.kept", object)
    app = fill(run("settings", url, None), set_booths="http://localhost:8501")
    click(app, "save-booths")
    assert "means the tablet itself" in words(app)
    click(fill(app, set_booths="http://10.0.0.12:8501/"), "save-booths")
    assert plant_desk.the_plant(store).booths_at == "http://10.0.0.12:8501"
