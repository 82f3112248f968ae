"""A small OpenID Connect provider over real HTTP.

Written after OpenID Connect Core 1.0 (sections 3.1.2, 3.1.3), Discovery 1.0 and RFC 7636, from
memory. It refuses what a provider refuses: another client, an address to return to that is not
registered, a wrong secret, a code used twice or of another challenge.
"""

from __future__ import annotations

import base64
import hashlib
import json
import secrets
import threading
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlencode, urlsplit

CLIENT, CLIENT_SECRET = "panel", "secret of the client"


class Provider:
    """Signs in whoever comes as `user`; `claims` stand over the usual ones of its tokens.

    `signs_with`: another key than the published one, if set.
    """

    def __init__(self) -> None:
        from joserfc.jwk import RSAKey

        self.key, self.other_key = (RSAKey.generate_key(2048, {"kid": "1"}) for _ in range(2))
        self.returns_to = self.sent_back_to = ""
        self.codes: dict[str, dict[str, str]] = {}
        self.ended: list[dict[str, str]] = []
        self.anew()
        provider = self

        class Door(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                parts = urlsplit(self.path)
                asked = {name: texts[0] for name, texts in parse_qs(parts.query).items()}
                self._tell(*provider.told(parts.path, asked))

            def do_POST(self) -> None:
                sent = self.rfile.read(int(self.headers["content-length"])).decode()
                asked = {name: texts[0] for name, texts in parse_qs(sent).items()}
                self._tell(*provider.token(asked, self.headers.get("authorization", "")))

            def _tell(self, status: int, told: Any) -> None:
                content = b"" if status == 302 else json.dumps(told).encode()
                self.send_response(status)
                if status == 302:
                    self.send_header("location", told)
                self.send_header("content-type", "application/json")
                self.send_header("content-length", str(len(content)))
                self.end_headers()
                self.wfile.write(content)

            def log_message(self, *words: Any) -> None:
                """Says nothing."""

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Door)
        self.url = f"http://127.0.0.1:{self.server.server_port}"
        threading.Thread(target=self.server.serve_forever, daemon=True).start()

    def anew(self, **user: Any) -> None:
        """Whoever comes next, and sound tokens."""
        self.user, self.claims, self.signs_with, self.refuses = user, {}, self.key, ""

    def told(self, path: str, asked: dict[str, str]) -> tuple[int, Any]:
        if path == "/.well-known/openid-configuration":
            return 200, self._metadata()
        if path == "/jwks":
            return 200, {"keys": [self.key.as_dict(private=False)]}
        if path == "/end":
            self.ended.append(asked)
            return 302, asked["post_logout_redirect_uri"]
        if path == "/authorize":
            return self._authorize(asked)
        return 404, {"error": path}

    def _metadata(self) -> dict[str, Any]:
        return {
            "issuer": self.url,
            "authorization_endpoint": f"{self.url}/authorize",
            "token_endpoint": f"{self.url}/token",
            "jwks_uri": f"{self.url}/jwks",
            "end_session_endpoint": f"{self.url}/end",
            "response_types_supported": ["code"],
            "subject_types_supported": ["public"],
            "id_token_signing_alg_values_supported": ["RS256"],
            "code_challenge_methods_supported": ["S256"],
        }

    def _authorize(self, asked: dict[str, str]) -> tuple[int, Any]:
        if (asked["client_id"], asked["redirect_uri"]) != (CLIENT, self.returns_to):
            return 400, {"error": "redirect_uri is not registered for this client"}
        assert asked["response_type"] == "code"
        assert "openid" in asked["scope"].split()
        back = {"state": asked["state"]}
        if self.refuses:
            back["error"] = self.refuses
        else:
            back["code"] = secrets.token_urlsafe(16)
            self.codes[back["code"]] = asked
        self.sent_back_to = f"{self.returns_to}?{urlencode(back)}"
        return 302, self.sent_back_to

    def token(self, asked: dict[str, str], authorization: str) -> tuple[int, Any]:
        from joserfc import jwt

        right = base64.b64encode(f"{CLIENT}:{CLIENT_SECRET}".encode()).decode()
        if authorization != f"Basic {right}":
            return 401, {"error": "invalid_client"}
        begun = self.codes.pop(asked.get("code", ""), None)
        challenge = base64.urlsafe_b64encode(
            hashlib.sha256(asked.get("code_verifier", "").encode()).digest()
        )
        if begun is None or begun["code_challenge"] != challenge.decode().rstrip("="):
            return 400, {"error": "invalid_grant"}
        usual = {
            "iss": self.url,
            "aud": CLIENT,
            "iat": int(time.time()),
            "exp": int(time.time()) + 300,
            "nonce": begun["nonce"],
        }
        claims = usual | self.user | self.claims
        signed = jwt.encode({"alg": "RS256", "kid": "1"}, claims, self.signs_with)
        return 200, {"access_token": "a", "token_type": "Bearer", "id_token": signed}
