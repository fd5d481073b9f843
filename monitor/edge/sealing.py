"""Seals the addresses of channels: the database holds them only under a key that lies in a file beside it.

The key is no part of a backup. After a restore without it an address cannot be read, and must be entered
again.
"""

import os
from pathlib import Path

from monitor.errors import RefusedError, StoreError

ENTER_AGAIN = "The key to this address is gone (a backup does not hold it): enter the address again."


class Seal:
    """Seals and opens short texts with the key in `path`, made at the first sealing, for its owner only."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def close(self, text: str) -> bytes:
        """The sealed text. StoreError: the key cannot be written or read."""
        from cryptography.fernet import Fernet

        key = self._key() or self._make()
        return Fernet(key).encrypt(text.encode())

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
        part = self._path.with_name(self._path.name + ".part")
        try:
            part.unlink(missing_ok=True)
            handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(handle, "wb") as file:
                file.write(key)
                file.flush()
                os.fsync(file.fileno())
            part.rename(self._path)
            folder = os.open(self._path.parent, os.O_RDONLY)
            try:
                os.fsync(folder)
            finally:
                os.close(folder)
        except OSError as error:
            raise StoreError(f"the key {self._path} cannot be written: {error.strerror}") from None
        return key
