"""A provider of OpenID Connect on this machine, for the tests: everybody who comes is the account that it was told."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import Thread
from typing import Any
from urllib.parse import parse_qs, urlencode, urlsplit

CLIENT, SECRET, CODE = "cranktrend-tests", "hush", "one-time-code"
KEY_BITS = 2048  # the least that RFC 7518, section 3.3 allows
VALID_S = 300


@contextmanager
def provider(email: str) -> Iterator[str]:
    """Its address, as long as it runs (OpenID Connect Core 1.0, section 3.1: discovery, authorization, token, keys)."""
    from joserfc import jwt
    from joserfc.jwk import RSAKey

    key = RSAKey.generate_key(KEY_BITS, parameters={"kid": "tests", "use": "sig", "alg": "RS256"})
    asked: dict[str, str] = {}

    class Answers(BaseHTTPRequestHandler):
        def log_message(self, *_: object) -> None:
            pass

        def say(self, body: dict[str, Any]) -> None:
            text = json.dumps(body).encode()
            self.send_response(200)
            self.send_header("Content-Type", "application/json")
            self.send_header("Content-Length", str(len(text)))
            self.end_headers()
            self.wfile.write(text)

        def do_GET(self) -> None:
            parts = urlsplit(self.path)
            if parts.path == "/.well-known/openid-configuration":
                self.say({
                    "issuer": address, "authorization_endpoint": f"{address}/authorize", "token_endpoint": f"{address}/token",
                    "jwks_uri": f"{address}/keys", "response_types_supported": ["code"],
                    "subject_types_supported": ["public"], "id_token_signing_alg_values_supported": ["RS256"],
                })  # fmt: skip
            elif parts.path == "/keys":
                self.say({"keys": [key.as_dict(private=False)]})
            else:
                asked.update({name: values[0] for name, values in parse_qs(parts.query).items()})
                back = urlencode({"code": CODE, "state": asked["state"]})
                self.send_response(302)
                self.send_header("Location", f"{asked['redirect_uri']}?{back}")
                self.send_header("Content-Length", "0")
                self.end_headers()

        def do_POST(self) -> None:
            told = parse_qs(self.rfile.read(int(self.headers["Content-Length"])).decode())
            assert told["code"] == [CODE]
            now = int(time.time())
            claims = {
                "iss": address, "sub": "1", "aud": CLIENT, "iat": now, "exp": now + VALID_S, "nonce": asked.get("nonce", ""),
                "email": email, "email_verified": True,
            }  # fmt: skip
            signed = jwt.encode({"alg": "RS256", "kid": "tests"}, claims, key)
            self.say({"access_token": "a", "token_type": "Bearer", "expires_in": VALID_S, "id_token": signed})

    server = ThreadingHTTPServer(("127.0.0.1", 0), Answers)
    address = f"http://127.0.0.1:{server.server_port}"
    thread = Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield address
    finally:
        server.shutdown()
        server.server_close()
