"""The arithmetic of Web Push: encryption for one browser (RFC 8291) and who we are (RFC 8292). No I/O."""

import base64
import binascii
import json
import os
from urllib.parse import urlsplit

from monitor.errors import FieldError, RefusedError

RECORD = 4_096  # every push service takes a body of this size (RFC 8030, 7.2)
PLAIN_MAX = RECORD - 86 - 1 - 16  # less header, end mark and tag
POINT, AUTH = 65, 16
TOKEN_S = 12 * 3600  # a push service takes no more than a day


def b64(data: bytes) -> str:
    """Base64 for addresses, without padding."""
    return base64.urlsafe_b64encode(data).decode().rstrip("=")


def unb64(field: str, text: str, length: int) -> bytes:
    """Exactly so many bytes; FieldError: it is not that."""
    try:
        data = base64.b64decode(text.rstrip("=") + "=" * (-len(text.rstrip("=")) % 4), b"-_", validate=True)
    except (binascii.Error, ValueError):
        data = b""
    if len(data) != length:
        raise FieldError(field, f"must be {length} bytes as base64url")
    return data


def check_point(field: str, point: bytes) -> None:
    """FieldError: no point of the curve, so nothing could be encrypted for it."""
    from cryptography.hazmat.primitives.asymmetric import ec

    try:
        ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), point)
    except ValueError:
        raise FieldError(field, "must be a key of the curve P-256") from None


def new_key() -> str:
    """A private key of P-256, 32 bytes as base64url."""
    from cryptography.hazmat.primitives.asymmetric import ec

    return b64(ec.generate_private_key(ec.SECP256R1()).private_numbers().private_value.to_bytes(32, "big"))


def public_key(private: str) -> str:
    """The public point that belongs to it, uncompressed, as base64url."""
    return b64(_point(_private(private).public_key()))


def encrypt(plain: bytes, receiver: bytes, auth: bytes, *, sender: str = "", salt: bytes = b"") -> bytes:
    """One `aes128gcm` record (RFC 8188) that only the browser with this key and secret can read.

    Args:
        sender, salt: For the published example only; made anew for each message otherwise.
    """
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.hazmat.primitives.ciphers.aead import AESGCM

    if len(plain) > PLAIN_MAX:
        raise RefusedError(f"a push message holds at most {PLAIN_MAX} bytes")
    salt = salt or os.urandom(16)
    own = _private(sender or new_key())
    point = _point(own.public_key())
    shared = own.exchange(ec.ECDH(), ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), receiver))
    secret = _derived(auth, shared, b"WebPush: info\0" + receiver + point, 32)
    key = _derived(salt, secret, b"Content-Encoding: aes128gcm\0", 16)
    nonce = _derived(salt, secret, b"Content-Encoding: nonce\0", 12)
    header = salt + RECORD.to_bytes(4, "big") + bytes([len(point)]) + point
    return header + AESGCM(key).encrypt(nonce, plain + b"\x02", None)


def authorisation(private: str, endpoint: str, now_s: float, contact: str) -> str:
    """The header that says who sends: a token for this push service alone, good for half a day.

    Args:
        contact: mailto: or https: address of whoever runs the site; empty = none is given.
    """
    from cryptography.hazmat.primitives import hashes
    from cryptography.hazmat.primitives.asymmetric import ec, utils

    parts = urlsplit(endpoint)
    claims: dict[str, object] = {"aud": f"{parts.scheme}://{parts.netloc}", "exp": int(now_s) + TOKEN_S}
    if contact:
        claims["sub"] = contact
    signed = ".".join(
        b64(json.dumps(part, separators=(",", ":")).encode())
        for part in ({"typ": "JWT", "alg": "ES256"}, claims)
    )
    key = _private(private)
    r, s = utils.decode_dss_signature(key.sign(signed.encode(), ec.ECDSA(hashes.SHA256())))
    signature = b64(r.to_bytes(32, "big") + s.to_bytes(32, "big"))
    return f"vapid t={signed}.{signature}, k={public_key(private)}"


def _derived(salt: bytes, secret: bytes, info: bytes, length: int) -> bytes:
    from cryptography.hazmat.primitives import hashes
    from cryptography.hazmat.primitives.kdf.hkdf import HKDF

    return HKDF(algorithm=hashes.SHA256(), length=length, salt=salt, info=info).derive(secret)


def _private(text: str):  # type: ignore[no-untyped-def]  # the library is not imported up here
    from cryptography.hazmat.primitives.asymmetric import ec

    return ec.derive_private_key(int.from_bytes(unb64("key", text, 32), "big"), ec.SECP256R1())


def _point(key) -> bytes:  # type: ignore[no-untyped-def]
    from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

    return key.public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)  # type: ignore[no-any-return]
