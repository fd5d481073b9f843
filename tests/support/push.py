"""A browser and a push service, from the text of the RFCs and none of the monitor's code."""

import base64
import hashlib
import hmac
import json
import os
import threading
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec, utils
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

CURVE = ec.SECP256R1()


def unb(text):
    return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))


def b64(data):
    return base64.urlsafe_b64encode(data).decode().rstrip("=")


def hkdf(salt, secret, info, length):
    """RFC 5869, one block."""
    extracted = hmac.new(salt, secret, hashlib.sha256).digest()
    return hmac.new(extracted, info + b"\x01", hashlib.sha256).digest()[:length]


class Browser:
    """Reads what is meant for it, from the text of the RFCs and none of the monitor's code."""

    def __init__(self, private=None, auth=None):
        self.key = private or ec.generate_private_key(CURVE)
        self.point = self.key.public_key().public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)
        self.auth = auth or os.urandom(16)

    def read(self, body):
        salt, size, length = body[:16], int.from_bytes(body[16:20], "big"), body[20]
        point, sealed = body[21 : 21 + length], body[21 + length :]
        assert (length, size >= len(body) - 21 - length) == (65, True)
        other = ec.EllipticCurvePublicKey.from_encoded_point(CURVE, point)
        shared = self.key.exchange(ec.ECDH(), other)
        secret = hkdf(self.auth, shared, b"WebPush: info\x00" + self.point + point, 32)
        key = hkdf(salt, secret, b"Content-Encoding: aes128gcm\x00", 16)
        nonce = hkdf(salt, secret, b"Content-Encoding: nonce\x00", 12)
        plain = AESGCM(key).decrypt(nonce, sealed, None).rstrip(b"\x00")
        assert plain[-1:] == b"\x02"  # the last record
        return plain[:-1]


def claims_of(header):
    """What the token says; InvalidSignature when its key did not sign it."""
    kind, _, rest = header.partition(" ")
    assert kind == "vapid"
    parts = dict(part.strip().split("=", 1) for part in rest.split(","))
    head, body, signature = parts["t"].split(".")
    assert json.loads(unb(head)) == {"typ": "JWT", "alg": "ES256"}
    raw = unb(signature)
    assert len(raw) == 64
    der = utils.encode_dss_signature(int.from_bytes(raw[:32], "big"), int.from_bytes(raw[32:], "big"))
    key = ec.EllipticCurvePublicKey.from_encoded_point(CURVE, unb(parts["k"]))
    key.verify(der, f"{head}.{body}".encode(), ec.ECDSA(hashes.SHA256()))
    return json.loads(unb(body)), parts["k"]


@contextmanager
def push_service(answers=(201,)):
    """Takes what comes as RFC 8030 says; answers one after the other, the last one for ever."""

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self):
            body = self.rfile.read(int(self.headers["Content-Length"]))
            status = answers[min(len(got), len(answers) - 1)]
            got.append((dict(self.headers), body))
            self.send_response(status)
            if status == 429:
                self.send_header("Retry-After", "120")
            if status == 302:
                self.send_header("Location", "/elsewhere")
            self.end_headers()

        def log_message(self, *_):
            pass

    got = []
    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}/push/abc?x=1", got
    finally:
        server.shutdown()
        server.server_close()
        thread.join()
