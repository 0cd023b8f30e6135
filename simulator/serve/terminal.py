"""A pseudo-terminal that stands for a serial adapter, plugged in and pulled out.

It has no baud rate and takes no parity. Like a wire it never waits: what finds
no room is lost.
"""

import asyncio
import os
import select
import tty
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from simulator.serve.base import ServeError

TERMINALS = Path("/dev/pts")
READ_BYTES = 4096


class Terminal:
    """Our end of a pseudo-terminal.

    Attributes:
        plugged: the other end is there to be opened.
    """

    def __init__(self, link: Path | None) -> None:
        """Nothing is plugged in yet.

        Args:
            link: where a symbolic link to the other end is made, as udev makes
                them, so that a configuration can name the port; or None.
        """
        self._link = link
        self._ends: tuple[int, int] | None = None
        self._came: Callable[[bytes], None] | None = None

    @property
    def plugged(self) -> bool:
        """The other end is there to be opened."""
        return self._ends is not None

    @property
    def lasting(self) -> bool:
        """It is found again after it was pulled out and plugged in."""
        return self._link is not None

    @property
    def device(self) -> str:
        """The path to open: the link, or the terminal itself."""
        if self._link is not None:
            return str(self._link)
        return "" if self._ends is None else os.ttyname(self._ends[1])

    def plug(self, came: Callable[[bytes], None] | None = None) -> None:
        """Appear; after `unplug`, as another terminal behind the same link.

        Args:
            came: called with what the other end sends; given once, the first time.

        Raises:
            ServeError: the link cannot be made.
        """
        self._came = came or self._came
        ours, theirs = os.openpty()
        os.set_blocking(ours, False)
        tty.setraw(theirs)
        self._ends = ours, theirs
        if self._link is not None:
            try:
                self._make_link(self._link, os.ttyname(theirs))
            except OSError as error:
                self.unplug()
                raise ServeError(
                    f"no link to a pseudo-terminal can be made at {self._link} "
                    f"({error.strerror}); choose another path"
                ) from error
        asyncio.get_running_loop().add_reader(ours, self._readable)

    def unplug(self) -> None:
        """Go away, as an adapter that is pulled out does; twice is no error."""
        if self._ends is None:
            return
        ours, theirs = self._ends
        asyncio.get_running_loop().remove_reader(ours)
        with suppress(OSError):
            if self._link is not None and self._link.readlink() == Path(os.ttyname(theirs)):
                self._link.unlink()
        os.close(ours)
        os.close(theirs)
        self._ends = None

    def write(self, data: bytes) -> None:
        """Send."""
        if self._ends is None:
            return
        ours, theirs = self._ends
        sent = 0
        with suppress(BlockingIOError):
            while sent < len(data):
                sent += os.write(ours, data[sent:])
        # Asking makes the kernel hand over at once what it holds for the other end.
        select.select([theirs], [], [], 0)

    def _readable(self) -> None:
        if self._ends is None:
            return
        with suppress(BlockingIOError):
            data = os.read(self._ends[0], READ_BYTES)
            if self._came is not None:
                self._came(data)

    @staticmethod
    def _make_link(link: Path, name: str) -> None:
        # Only a link that an ended simulator left behind is ours to replace.
        if link.is_symlink() and link.readlink().parent == TERMINALS:
            link.unlink()
        link.symlink_to(name)
