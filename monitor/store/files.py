"""Where the database file is, and whether a service is at work on it."""

import fcntl
import os
import time
from pathlib import Path
from types import TracebackType

from monitor.errors import BadInputError, RefusedError

_SCHEME = "sqlite:///"
# Whoever only asks holds the lock for a moment; a service that starts just then must not give up.
_TRIES = 5
_PAUSE_S = 0.02


def database_path(url: str) -> Path:
    """`sqlite:///relative.db` or `sqlite:////absolute.db` as a path."""
    name = url.removeprefix(_SCHEME)
    if name == url or not name or set(name) & set("?#\0"):
        raise BadInputError(
            f"database {url!r}: write sqlite:///FILE for a file here, sqlite:////FOLDER/FILE for a full path"
        )
    return Path(name)


class ServiceLock:
    """Held by a running service for as long as it lives, and let go by the system however it ends."""

    def __init__(self, database: Path) -> None:
        self._database = database
        self._file: int | None = None

    def acquire(self) -> None:
        try:
            file = os.open(_lock_path(self._database), os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
        except OSError as error:
            raise BadInputError(
                f"the database {self._database} cannot be opened ({error.strerror}): does its folder exist?"
            ) from None
        for _ in range(_TRIES):
            try:
                fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                time.sleep(_PAUSE_S)
            else:
                self._file = file
                return
        os.close(file)
        raise RefusedError(f"A service runs on {self._database} already: stop it first.")

    def release(self) -> None:
        """The file stays: deleting it could take it from under one who just opened it."""
        if self._file is not None:
            os.close(self._file)
            self._file = None

    def __enter__(self) -> "ServiceLock":
        self.acquire()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.release()


def is_served(database: Path) -> bool:
    """Does a service hold the lock at this moment?"""
    try:
        file = os.open(_lock_path(database), os.O_RDONLY | os.O_CLOEXEC)
    except FileNotFoundError:
        return False
    try:
        fcntl.flock(file, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        return True
    finally:
        os.close(file)
    return False


def _lock_path(database: Path) -> Path:
    return database.with_name(database.name + ".lock")
