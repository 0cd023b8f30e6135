"""The two files beside the database: the lock and the reserve."""

import fcntl
import os
import shutil
from pathlib import Path

from daemon.store.errors import StoreError, StoreLocked

RESERVE_BYTES = 1 << 20
_ROOM_FOR_RESERVE = 4 * RESERVE_BYTES


class StoreLock:
    """Held by the one process that writes the store; the kernel frees it if that dies."""

    def __init__(self, store: Path) -> None:
        """Take the lock.

        Raises:
            StoreLocked: another daemon holds it.
            StoreError: the lock file cannot be made.
        """
        self.path = store.with_name(store.name + ".lock")
        try:
            store.parent.mkdir(parents=True, exist_ok=True)
            self._fd = os.open(self.path, os.O_RDWR | os.O_CREAT, 0o644)
        except OSError as error:
            raise StoreError(
                f"{self.path}: cannot be made ({error.strerror}); "
                "give this user the right to write there, or set another store path"
            ) from error
        try:
            fcntl.flock(self._fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            holder = os.pread(self._fd, 32, 0).decode("ascii", "replace").strip() or "unknown"
            os.close(self._fd)
            raise StoreLocked(
                f"{store}: another daemon writes this store (process {holder}); "
                "stop that one first, or give this one a store of its own"
            ) from error
        os.ftruncate(self._fd, 0)
        os.pwrite(self._fd, f"{os.getpid()}\n".encode(), 0)

    def release(self) -> None:
        """Let go; the file stays, so that nobody locks one that is being removed."""
        os.close(self._fd)


class Reserve:
    """Disk space kept back so that alarms still fit when the disk fills up."""

    def __init__(self, store: Path) -> None:
        """Set space aside if there is room for it."""
        self._path = store.with_name(store.name + ".reserve")
        self.held = self._path.exists() or self._make()

    def release(self) -> bool:
        """Give the space back; False if it was already given."""
        if not self.held:
            return False
        self._path.unlink(missing_ok=True)
        self.held = False
        return True

    def restore(self) -> bool:
        """Set space aside again if it is not held and there is plenty of room."""
        self.held = self.held or self._make()
        return self.held

    def _make(self) -> bool:
        if shutil.disk_usage(self._path.parent).free < _ROOM_FOR_RESERVE:
            return False
        with self._path.open("wb") as file:
            try:
                os.posix_fallocate(file.fileno(), 0, RESERVE_BYTES)
            except OSError:
                self._path.unlink()
                return False
        return True
