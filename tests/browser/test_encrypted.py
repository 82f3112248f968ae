"""The network mode with a certificate: everything over https, and the cookie on https only."""

from __future__ import annotations

import subprocess

import pytest

from .servers import NetworkServer, needed, started


@pytest.fixture(scope="module")
def encrypted(tmp_path_factory):
    needed("openssl", "openssl")
    folder = tmp_path_factory.mktemp("encrypted")
    files = {"-keyout": folder / "key.pem", "-out": folder / "certificate.pem"}
    made = ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256"]
    made += ["-nodes", "-days", "2", "-subj", "/CN=plant", "-addext", "subjectAltName=IP:127.0.0.1"]
    for option, path in files.items():
        made += [option, str(path)]
    subprocess.run(made, check=True, capture_output=True)
    running = NetworkServer(folder)
    running.url = running.url.replace("http:", "https:")
    certificate, key = files["-out"], files["-keyout"]
    running.options = ("--certificate", str(certificate), "--key", str(key))
    with started(running):
        yield running


def test_leader_signs_in_over_https(visitor_of, encrypted):
    visitor = visitor_of(encrypted)
    visitor.sign_in()
    cookies = {cookie["name"]: cookie for cookie in visitor.context.cookies()}
    assert cookies["sensory_leader"]["secure"] is True
    assert visitor.asked_only_the_server()
