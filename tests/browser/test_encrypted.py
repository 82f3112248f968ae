"""The network mode with a certificate: everything over https, and the cookie on https only."""

from __future__ import annotations

import subprocess

import pytest


@pytest.fixture(scope="module")
def encrypted(tmp_path_factory, network_class, needed_program):
    needed_program("openssl", "openssl")
    folder = tmp_path_factory.mktemp("encrypted")
    files = {"-keyout": folder / "key.pem", "-out": folder / "certificate.pem"}
    made = ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256"]
    made += ["-nodes", "-days", "2", "-subj", "/CN=plant", "-addext", "subjectAltName=IP:127.0.0.1"]
    for option, path in files.items():
        made += [option, str(path)]
    subprocess.run(made, check=True, capture_output=True)
    running = network_class(folder)
    running.url = running.url.replace("http:", "https:")
    certificate, key = files["-out"], files["-keyout"]
    running.options = ("--certificate", str(certificate), "--key", str(key))
    running.start()
    yield running
    running.kill()


def test_leader_signs_in_over_https(visitor_of, encrypted):
    visitor = visitor_of(encrypted)
    page = visitor.page
    page.goto(encrypted.url)
    page.get_by_role("link", name="Sign in with the passcode").click()
    page.get_by_label("Passcode").fill(encrypted.passcode)
    page.get_by_role("button", name="Sign in").click()
    visitor.heading("Does the batch still match")
    (cookie,) = (one for one in visitor.context.cookies() if one["name"] == "sensory_leader")
    assert cookie["secure"] is True
    assert visitor.hosts == {f"127.0.0.1:{encrypted.port}"}
