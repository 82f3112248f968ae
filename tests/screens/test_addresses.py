"""The address on booth cards: this machine's in the network, never a tablet's own."""

from __future__ import annotations

import ipaddress

import pytest

from sensory.base.errors import ArgumentError
from sensory.screens.addresses import booth_address, in_network, offered_address


@pytest.mark.parametrize("own", ["127.0.0.1", "localhost", "[::1]", "127.1.2.3"])
def test_an_own_address_is_refused_with_the_reason_where_booths_are_elsewhere(own):
    with pytest.raises(ArgumentError, match="it means the tablet itself"):
        booth_address(f"http://{own}:8501", network=True)
    assert booth_address(f"http://{own}:8501", network=False) == f"http://{own}:8501"
    offered = offered_address(f"http://{own}:8501/serve", network=True, look=lambda: "10.0.0.12")
    assert offered == "http://10.0.0.12:8501"
    assert offered_address(f"http://{own}:8501", network=True, look=lambda: "") == ""


@pytest.mark.parametrize("typed", ["", "ftp://10.0.0.12", "http://a b", "http://a:b", "http://a/x"])
def test_what_is_no_address_is_refused(typed):
    with pytest.raises(ArgumentError, match="is no address"):
        booth_address(typed, network=True)


def test_the_system_names_an_address_or_none():
    found = in_network()
    assert not found or not ipaddress.ip_address(found).is_unspecified
