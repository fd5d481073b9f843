"""Passwords and one-time codes: what is asked of them, and how they are kept so that a thief learns neither.

Passwords are kept by scrypt (RFC 7914) of the standard library: it needs no further package on the board, and
it is memory-hard, so that a stolen file costs a guesser memory for each try. With n = 2^15 and r = 8 one try
takes 128 n r bytes = 32 MiB for some tenths of a second: what a board with 512 MB can give to one sign-in at
a time, and inside the service's own memory limit. The parameters stand in the kept text, so they may rise.
"""

import base64
import hashlib
import hmac
import secrets
import unicodedata
from dataclasses import dataclass

from monitor.errors import FieldError
from monitor.model.people import CONSOLE, fold

PASSWORD_MIN, PASSWORD_MAX = 12, 200
NAME_MAX = 40
# Of these sixty bits none is mistaken for another: no I, L, O, U (Crockford's base 32).
_ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
_CODE_LENGTH, _CODE_GROUP = 12, 4
_MISREAD = str.maketrans({"O": "0", "I": "1", "L": "1"})
_SALT_BYTES, _HASH_BYTES = 16, 32
_MAX_MEMORY = 96 << 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Cost:
    """What one try costs: 128 n r bytes, p times over."""

    n: int = 1 << 15
    r: int = 8
    p: int = 1


def keep(password: str, cost: Cost) -> str:
    """The text under which a password is kept."""
    salt = secrets.token_bytes(_SALT_BYTES)
    return _text(cost, salt, _scrypt(password, salt, cost))


def of_nobody(cost: Cost) -> str:
    """A kept text that no password fits: trying one on it takes as long as on a real one."""
    return _text(cost, secrets.token_bytes(_SALT_BYTES), secrets.token_bytes(_HASH_BYTES))


def fits(password: str, kept: str) -> bool:
    """Whether this is the password; compared in constant time."""
    kind, parameters, salt, expected = kept.split("$")
    if kind != "scrypt":
        raise ValueError(f"unknown kind of password text {kind[:20]!r}")
    numbers = dict(pair.split("=") for pair in parameters.split(","))
    cost = Cost(**{name: int(value) for name, value in numbers.items()})
    return hmac.compare_digest(_scrypt(password, _bytes(salt), cost), _bytes(expected))


def check_password(password: str, name: str) -> None:
    """FieldError unless it is long enough to withstand guessing; how it is composed is nobody's business."""
    folded = _normal(password)
    if len(folded) < PASSWORD_MIN or len(password) > PASSWORD_MAX:
        raise FieldError("password", f"must have {PASSWORD_MIN} to {PASSWORD_MAX} characters")
    if len(set(folded)) == 1:
        raise FieldError("password", "must not be one character again and again")
    plain, key = fold(password).replace(" ", ""), fold(name).replace(" ", "")
    if key and not plain.replace(key, ""):
        raise FieldError("password", "must not be the name")


def check_name(name: str) -> str:
    """The name as it is kept; FieldError says what is allowed."""
    neat = " ".join(unicodedata.normalize("NFC", name).split())
    has_hidden = any(unicodedata.category(char).startswith("C") for char in neat)
    if not neat or len(neat) > NAME_MAX or has_hidden or not any(char.isalnum() for char in neat):
        raise FieldError("name", f"must be a name of 1 to {NAME_MAX} characters in one line")
    if fold(neat) == CONSOLE:
        raise FieldError("name", f"must not be {CONSOLE!r}: that is who acts by commands on the board")
    return neat


def new_code() -> str:
    """A one-time code as it is shown: three groups of four."""
    text = "".join(secrets.choice(_ALPHABET) for _ in range(_CODE_LENGTH))
    return "-".join(text[start : start + _CODE_GROUP] for start in range(0, _CODE_LENGTH, _CODE_GROUP))


def code_digest(code: str) -> bytes | None:
    """What is kept of a code, however it is typed; None: it is none. Sixty random bits need no slow hash."""
    text = "".join(char for char in code[:100].upper() if char not in "- \t").translate(_MISREAD)
    if len(text) != _CODE_LENGTH or any(char not in _ALPHABET for char in text):
        return None
    return hashlib.sha256(b"code " + text.encode()).digest()


def new_token() -> str:
    """A session's secret: 256 random bits."""
    return secrets.token_urlsafe(32)


def token_digest(token: str) -> bytes | None:
    """What is kept of a token; None: it is none of ours, whatever it is."""
    if len(token) != 43 or not token.isascii() or not token.replace("-", "").replace("_", "").isalnum():
        return None
    return hashlib.sha256(b"token " + token.encode()).digest()


def _normal(password: str) -> str:
    """The same however a keyboard composes it (NIST SP 800-63B, 5.1.1.2)."""
    return unicodedata.normalize("NFKC", password)


def _scrypt(password: str, salt: bytes, cost: Cost) -> bytes:
    return hashlib.scrypt(
        _normal(password[:PASSWORD_MAX]).encode("utf-8", "surrogatepass"),
        salt=salt,
        n=cost.n,
        r=cost.r,
        p=cost.p,
        maxmem=_MAX_MEMORY,
        dklen=_HASH_BYTES,
    )


def _text(cost: Cost, salt: bytes, hashed: bytes) -> str:
    numbers = f"n={cost.n},r={cost.r},p={cost.p}"
    return "$".join(("scrypt", numbers, *(base64.b64encode(part).decode() for part in (salt, hashed))))


def _bytes(text: str) -> bytes:
    return base64.b64decode(text, validate=True)
