"""All ways to reach people behind one face: addresses are checked, sealed, opened and sent to here."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from monitor.edge import channels, push_crypto, web_push
from monitor.edge.sealing import Seal
from monitor.errors import RefusedError
from monitor.model.delivery import TEST_CODE, Letter

_GUEST = "internet only:"  # before an address that was set by who may not reach into the local network
LOCAL = "This address leads into the site's own network, or nowhere: only an owner may set such a one."


class Ways:
    """Keeps two keys beside the database: one seals the addresses, one tells push services who we are.

    Args:
        contact: mailto: or https: address for push services; empty = none.
        may_push_inside: For tests: a push service on this machine, without TLS.
    """

    def __init__(
        self, database: Path, *, contact: str, now_s: Callable[[], float], may_push_inside: bool = False
    ) -> None:
        self._seal = Seal(database.with_name(database.stem + "-messages.key"))
        self._push_file = database.with_name(database.stem + "-push.key")
        self._contact = contact
        self._now_s = now_s
        self._may_push_inside = may_push_inside

    def take(self, address: str, *, is_owner: bool) -> tuple[bytes, str]:
        """An address sealed, and what may be shown of it. FieldError or RefusedError: it cannot be used."""
        text = address.strip()
        shown = channels.check_address(text)
        if not is_owner and channels.is_local(text):
            raise RefusedError(LOCAL)
        return self._seal.close(text if is_owner else _GUEST + text), shown

    def take_push(self, endpoint: str, p256dh: str, auth: str) -> tuple[bytes, str]:
        """The same of a browser's subscription."""
        address, shown = web_push.check_subscription(
            endpoint, p256dh, auth, may_be_local=self._may_push_inside
        )
        return self._seal.close(address), shown

    def push_key(self) -> str:
        """The public key that a browser subscribes with; made at the first use."""
        return push_crypto.public_key(self._push_key())

    def can_open(self, sealed: bytes) -> bool:
        """Whether the key to this address is here; a backup does not hold it."""
        try:
            self._seal.open(sealed)
        except RefusedError:
            return False
        return True

    def test_code(self, key: str) -> str:
        """What proves that a test came: it follows from its row and our key, and is kept nowhere."""
        return self._seal.sign("test\0" + key)

    def send(self, sealed: bytes, letter: Letter) -> bool:
        """Whether the receiver took it. May hang as long as that does; may raise as the ways do."""
        address = self._seal.open(sealed)
        if letter.test_key:
            code = self.test_code(letter.test_key)
            letter = replace(
                letter,
                text=letter.text.replace(TEST_CODE, code),
                path=letter.path.replace(TEST_CODE, code),
            )
        if address.startswith(web_push.SCHEME):
            return web_push.send(
                address,
                letter,
                key=self._push_key(),
                contact=self._contact,
                now_s=self._now_s(),
                may_be_local=self._may_push_inside,
            )
        if address.startswith(_GUEST):
            address = address.removeprefix(_GUEST)
            if channels.is_local(address):  # its name may lead elsewhere by now
                raise RefusedError(LOCAL)
        return channels.send(address, letter.title, letter.text)

    def _push_key(self) -> str:
        return self._seal.keep(self._push_file, push_crypto.new_key)
