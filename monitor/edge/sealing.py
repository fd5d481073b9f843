"""Seals the addresses of channels: the database holds them only under a key that lies in a file beside it.

The key is no part of a backup. After a restore without it an address cannot be read, and must be entered
again.
"""

import base64
import hashlib
import hmac
import os
import threading
from collections.abc import Callable
from pathlib import Path

from monitor.errors import RefusedError, StoreError

ENTER_AGAIN = "The key to this address is gone (a backup does not hold it): enter the address again."


class Seal:
    """Seals and opens short texts with the key in `path`, made at the first sealing, for its owner only."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._making = threading.RLock()  # two who are first at once must not each make a key

    def close(self, text: str) -> bytes:
        """The sealed text. StoreError: the key cannot be written or read."""
        from cryptography.fernet import Fernet

        return Fernet(self._key_or_new()).encrypt(text.encode())

    def open(self, sealed: bytes) -> str:
        """The text; RefusedError when it was sealed by another key."""
        from cryptography.fernet import Fernet, InvalidToken

        key = self._key()
        try:
            if key is None:
                raise RefusedError(ENTER_AGAIN)
            return Fernet(key).decrypt(sealed).decode()
        except (InvalidToken, ValueError):
            raise RefusedError(ENTER_AGAIN) from None

    def sign(self, text: str) -> str:
        """What only who has the key can say of this text: 32 characters that fit into an address."""
        digest = hmac.new(self._key_or_new(), text.encode(), hashlib.sha256).digest()
        return base64.urlsafe_b64encode(digest[:24]).decode()

    def keep(self, path: Path, make: Callable[[], str]) -> str:
        """A secret of its own file, sealed; made at first, and anew once its seal cannot be opened."""
        with self._making:
            try:
                return self.open(path.read_bytes())
            except (FileNotFoundError, RefusedError):
                text = make()
            except OSError as error:
                raise StoreError(f"the key {path} cannot be read: {error.strerror}") from None
            _write_whole(path, self.close(text))
            return text

    def _key_or_new(self) -> bytes:
        with self._making:
            return self._key() or self._make()

    def _key(self) -> bytes | None:
        try:
            return self._path.read_bytes().strip()
        except FileNotFoundError:
            return None
        except OSError as error:
            raise StoreError(f"the key {self._path} cannot be read: {error.strerror}") from None

    def _make(self) -> bytes:
        """On the disk before anything is sealed with it, so that no power cut leaves a sealed text alone."""
        from cryptography.fernet import Fernet

        key = Fernet.generate_key()
        _write_whole(self._path, key)
        return key


def _write_whole(path: Path, data: bytes) -> None:
    """All of it or nothing, on the disk when this returns, readable by its owner alone."""
    part = path.with_name(path.name + ".part")
    try:
        part.unlink(missing_ok=True)
        handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        part.rename(path)
        folder = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)
    except OSError as error:
        raise StoreError(f"the key {path} cannot be written: {error.strerror}") from None
