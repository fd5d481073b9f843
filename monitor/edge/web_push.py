"""Sends one message to one browser by the push service that the browser named (RFC 8030)."""

import http.client
import json
import socket
import ssl
from collections.abc import Mapping
from urllib.parse import urlsplit

from monitor.edge import push_crypto
from monitor.edge.public_host import is_address, is_public, public_address
from monitor.errors import FieldError, GoneError, LaterError, MonitorError, RefusedError
from monitor.model.delivery import Letter
from monitor.model.message import Priority

SCHEME = "webpush:"
ENDPOINT_MAX = 1_000
TIMEOUT_S = 10.0
SHRINK_TIMES = 3
_URGENCY = {
    Priority.SAFETY: "high",
    Priority.HIGH: "high",
    Priority.MEDIUM: "normal",
    Priority.LOW: "low",
    Priority.NOTICE: "low",
}
_TTL_S = {Priority.SAFETY: 3_600}
_TTL_OTHERS_S = 4 * 3_600
_AGAIN_S = 60.0  # where a service that is asked too often does not say for how long


def check_subscription(
    endpoint: str, p256dh: str, auth: str, *, may_be_local: bool = False
) -> tuple[str, str]:
    """What a browser gave, as the address to keep and what may be shown of it. FieldError: it cannot be used.

    A name is not looked up here but each time that something is sent, since names move.
    """
    host, _, _ = _parts(endpoint, may_be_local=may_be_local)
    if not may_be_local and (host == "localhost" or (is_address(host) and not is_public(host))):
        raise FieldError("endpoint", "must be out on the internet, not in the local network")
    point = push_crypto.unb64("p256dh", p256dh[:200], push_crypto.POINT)
    push_crypto.check_point("p256dh", point)
    secret = push_crypto.unb64("auth", auth[:100], push_crypto.AUTH)
    kept = {"endpoint": endpoint, "p256dh": push_crypto.b64(point), "auth": push_crypto.b64(secret)}
    return SCHEME + json.dumps(kept), f"browser, by {urlsplit(endpoint).hostname}"[:120]


def send(
    address: str, letter: Letter, *, key: str, contact: str, now_s: float, may_be_local: bool = False
) -> bool:
    """Whether the push service took it.

    Args:
        key: Our private key.
        may_be_local: For tests: plain HTTP to this machine.

    Raises:
        GoneError: The browser does not want it any more.
        LaterError: The service asks for patience.
        RefusedError: The service says that this will never do, or the host is none of the internet.
    """
    kept = json.loads(address.removeprefix(SCHEME))
    endpoint = kept["endpoint"]
    receiver = push_crypto.unb64("p256dh", kept["p256dh"], push_crypto.POINT)
    auth = push_crypto.unb64("auth", kept["auth"], push_crypto.AUTH)
    headers = {
        "Authorization": push_crypto.authorisation(key, endpoint, now_s, contact),
        "TTL": str(_TTL_S.get(letter.priority, _TTL_OTHERS_S)),
        "Urgency": _URGENCY[letter.priority],
        "Content-Encoding": "aes128gcm",
        "Content-Type": "application/octet-stream",
    }
    if letter.topic:
        headers["Topic"] = letter.topic
    room = push_crypto.PLAIN_MAX
    for _ in range(SHRINK_TIMES):
        body = push_crypto.encrypt(payload(letter, room), receiver, auth)
        status, answered = _post(endpoint, headers, body, may_be_local=may_be_local)
        if status != 413:
            break
        room //= 2
    return _outcome(status, answered)


def payload(letter: Letter, room: int) -> bytes:
    """What the worker in the browser reads, within so many bytes; the end of a long text is left out."""
    text = _body(letter)
    while True:
        parts = {
            "title": letter.title,
            "body": text,
            "tag": letter.topic,
            "path": letter.path,
            "urgent": _URGENCY[letter.priority] == "high",
        }
        data = json.dumps(parts, ensure_ascii=False, separators=(",", ":")).encode()
        over = len(data) - room
        if over <= 0 or not text:
            return data
        # A character takes four bytes at most, so this many go at least, and it ends.
        text = text[: max(0, len(text) - 2 - over // 4)].rstrip() + "…" if len(text) > 3 else ""


def _body(letter: Letter) -> str:
    """Without what the title says: a locked screen shows two lines, and what to do must be in them."""
    for title in (letter.title, letter.title.partition(": ")[2]):
        if title and letter.text.startswith(title):
            return letter.text.removeprefix(title).strip() or letter.text
    return letter.text or letter.title


def _outcome(status: int, answered: Mapping[str, str]) -> bool:
    if status in (200, 201, 202, 204):
        return True
    if status in (404, 410):
        raise GoneError("the browser does not take messages any more: allow them there again")
    if status == 429 or status == 503:
        raise LaterError(f"the push service asks for patience ({status})", _seconds(answered))
    if status in (401, 403):
        raise RefusedError(
            f"the push service does not know us ({status}): set web.push_contact and the clock"
        )
    return False


def _seconds(answered: Mapping[str, str]) -> float:
    """Retry-After in seconds; a date, or nonsense, is taken for a minute."""
    text = answered.get("retry-after", "").strip()
    return float(text) if text.isascii() and text.isdigit() and len(text) < 8 else _AGAIN_S


def _parts(endpoint: str, *, may_be_local: bool) -> tuple[str, int, str]:
    """Host, port and path; FieldError: no address that a push service could have."""
    fault = FieldError(
        "endpoint", f"must be an https:// address of 1 to {ENDPOINT_MAX} characters, at port 443"
    )
    if (
        len(endpoint) > ENDPOINT_MAX
        or not endpoint.isascii()
        or not endpoint.isprintable()
        or " " in endpoint
    ):
        raise fault
    try:
        parts = urlsplit(endpoint)
        host, port = parts.hostname or "", parts.port
    except ValueError:
        raise fault from None
    if not host or parts.username is not None or parts.password is not None or parts.fragment:
        raise fault
    if not may_be_local and (parts.scheme != "https" or port not in (None, 443)):
        raise fault
    path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    return host, port or 443, path


def _post(
    endpoint: str, headers: Mapping[str, str], body: bytes, *, may_be_local: bool
) -> tuple[int, Mapping[str, str]]:
    """Status and headers. Redirections are not followed: they could lead anywhere."""
    host, port, path = _parts(endpoint, may_be_local=may_be_local)
    connection: http.client.HTTPConnection
    if may_be_local:
        connection = http.client.HTTPConnection(host, port, timeout=TIMEOUT_S)
    else:
        address = public_address(host, port)
        if address is None:
            raise RefusedError(
                "the push service is not found on the internet; the local network is not allowed"
            )
        connection = _Pinned(host, port, address)
    try:
        connection.request("POST", path, body=body, headers=dict(headers))
        response = connection.getresponse()
        return response.status, {name.lower(): value for name, value in response.getheaders()}
    except (OSError, http.client.HTTPException) as error:  # its text may hold the address
        raise MonitorError(f"the push service cannot be reached ({type(error).__name__})") from None
    finally:
        connection.close()


class _Pinned(http.client.HTTPSConnection):
    """To the very address that was looked at: a name could lead elsewhere when asked again."""

    def __init__(self, host: str, port: int, address: str) -> None:
        self._tls = ssl.create_default_context()
        super().__init__(host, port, timeout=TIMEOUT_S, context=self._tls)
        self._address = address

    def connect(self) -> None:
        plain = socket.create_connection((self._address, self.port), TIMEOUT_S)
        self.sock = self._tls.wrap_socket(plain, server_hostname=self.host)
