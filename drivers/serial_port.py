"""One serial port: found, opened, read and written without blocking the event loop.

pyserial sets the port up; its blocking calls are not used. The file descriptor
is watched by the event loop itself, which needs no thread and no other library.
"""

import asyncio
import errno
import fcntl
import os
import termios
from contextlib import suppress
from typing import Literal, Self

import serial
from pydantic import BaseModel, Field, model_validator
from serial.tools import list_ports

from drivers.base import LinkDown
from drivers.settings import STRICT

_PARITIES = {"none": serial.PARITY_NONE, "even": serial.PARITY_EVEN, "odd": serial.PARITY_ODD}
_READ_BYTES = 4096
UNREAD_BYTES_MAX = 65536


class PortSettings(BaseModel):
    """Which serial port, and how it is set; eight data bits always.

    Attributes:
        device: the port's path; best one under /dev/serial/by-id or by-path, as
            /dev/ttyUSB0 may name another adapter after the next start.
        usb_serial_number: or the serial number of the USB adapter, whatever name
            its port has today.
        baud_rate: bits a second.
        parity: `none`, `even` or `odd`.
        stop_bits: 1 or 2.
    """

    model_config = STRICT

    device: str | None = Field(default=None, min_length=1, max_length=200)
    usb_serial_number: str | None = Field(default=None, min_length=1, max_length=100)
    baud_rate: int = Field(default=19200, ge=300, le=4_000_000)
    parity: Literal["none", "even", "odd"] = "even"
    stop_bits: Literal[1, 2] = 1

    @model_validator(mode="after")
    def _one_way_to_find_it(self) -> Self:
        if (self.device is None) == (self.usb_serial_number is None):
            raise ValueError(
                "device and usb_serial_number: give one of the two, the port's path or the "
                "adapter's serial number"
            )
        return self

    @property
    def bits_per_character(self) -> int:
        """Start, eight data, parity and stop bits."""
        return 9 + (self.parity != "none") + self.stop_bits

    def character_s(self, characters: float) -> float:
        """How long so many characters take on the wire, s."""
        return characters * self.bits_per_character / self.baud_rate

    def where(self) -> str:
        """The port in a few words, for messages."""
        return self.device or f"adapter {self.usb_serial_number}"


class SerialPort:
    """A port that is open, and what has come over it and was not yet taken.

    Attributes:
        where: for messages.
        lost: why the port can no longer be used; empty while it can.
    """

    def __init__(self, settings: PortSettings) -> None:
        """Open the port, for this process alone.

        Args:
            settings: which, and how it is set.

        Raises:
            LinkDown: not there, not ours to open, or in use by another program.
        """
        self.where = settings.where()
        self.lost = ""
        self._unread = bytearray()
        self._watched = True
        self._news = asyncio.Event()
        self._room = asyncio.Event()
        self._loop = asyncio.get_running_loop()
        self._port = _opened(settings, self.where)
        self._fd: int = self._port.fileno()
        os.set_blocking(self._fd, False)
        self._loop.add_reader(self._fd, self._readable)

    @property
    def usable(self) -> bool:
        """Open, and not known to be gone."""
        return not self.lost

    def take(self) -> bytes:
        """Everything that has come and was not yet taken; never waits.

        Returns:
            At most `UNREAD_BYTES_MAX` bytes; fewer say that nothing more was
            there, in the kernel either.
        """
        if self.usable:
            self._readable()
        taken = bytes(self._unread)
        self._unread.clear()
        self._news.clear()
        if self.usable and not self._watched:
            self._watched = True
            self._loop.add_reader(self._fd, self._readable)
        return taken

    async def came(self) -> None:
        """Return when something has come that was not yet taken, or the port is lost."""
        if not self._unread and self.usable:
            self._news.clear()
            await self._news.wait()

    async def write(self, data: bytes) -> None:
        """Hand all of `data` to the port.

        Raises:
            LinkDown: the port is lost.
        """
        left = memoryview(data)
        while left:
            if not self.usable:
                raise LinkDown(f"{self.where}: {self.lost}")
            try:
                left = left[os.write(self._fd, left) :]
            except BlockingIOError:
                await self._writable()
            except OSError as error:
                self._lose(error)

    def close(self) -> None:
        """Close at once, dropping what was not sent; twice is no error."""
        self._lose(None)
        if self._port.is_open:
            with suppress(OSError, termios.error):  # it may be pulled out
                # The kernel would wait for it to go out, half a minute where it cannot.
                termios.tcflush(self._fd, termios.TCOFLUSH)
                fcntl.ioctl(self._fd, termios.TIOCNXCL)
            self._port.close()

    def _readable(self) -> None:
        """Read until nothing more is there, or nobody takes what came."""
        while self.usable and len(self._unread) < UNREAD_BYTES_MAX:
            try:
                data = os.read(self._fd, min(_READ_BYTES, UNREAD_BYTES_MAX - len(self._unread)))
            except BlockingIOError:
                break
            except OSError as error:
                self._lose(error)
                break
            if not data:  # how an adapter pulled out shows itself
                self._lose(OSError(errno.ENODEV, os.strerror(errno.ENODEV)))
            self._unread += data
        if self.usable and len(self._unread) == UNREAD_BYTES_MAX:
            # What nobody takes stays with the kernel and costs no time here.
            self._watched = False
            self._loop.remove_reader(self._fd)
        if self._unread:
            self._news.set()

    async def _writable(self) -> None:
        self._room.clear()
        self._loop.add_writer(self._fd, self._room.set)
        try:
            await self._room.wait()
        finally:
            if self.usable:
                self._loop.remove_writer(self._fd)

    def _lose(self, error: OSError | None) -> None:
        if self.lost:
            return
        self.lost = "closed by us" if error is None else f"lost: {error.strerror or error}"
        self._loop.remove_reader(self._fd)
        self._loop.remove_writer(self._fd)
        self._news.set()
        self._room.set()


def _opened(settings: PortSettings, where: str) -> serial.Serial:
    device = settings.device or _device_of(settings.usb_serial_number or "")
    try:
        port = serial.Serial(
            device,
            settings.baud_rate,
            parity=_PARITIES[settings.parity],
            stopbits=settings.stop_bits,
            # Asks the kernel to tell "nothing yet" from "gone", see termios(3), VMIN = 1.
            inter_byte_timeout=0,
            exclusive=True,
        )
    except (OSError, ValueError, termios.error) as error:  # pyserial's own is an OSError
        raise LinkDown(f"{where}: {_why(error)}") from error
    with suppress(OSError):  # pulled out already: reading will tell
        # pyserial's lock stops those who look for one; this stops the others.
        fcntl.ioctl(port.fileno(), termios.TIOCEXCL)
    return port


def _device_of(serial_number: str) -> str:
    try:
        found = [port for port in list_ports.comports() if port.serial_number == serial_number]
    except (OSError, TypeError, ValueError) as error:
        # pyserial reads one file after another of every adapter, also of one pulled out meanwhile.
        raise LinkDown(
            f"the list of USB adapters changed while adapter {serial_number} was looked for; it is "
            "looked for again"
        ) from error
    if not found:
        raise LinkDown(
            f"no USB adapter with serial number {serial_number} is plugged in; check its plug, or "
            "correct usb_serial_number"
        )
    if len(found) > 1:
        raise LinkDown(
            f"{len(found)} ports have the serial number {serial_number}; name one by device, with "
            "a path under /dev/serial/by-path"
        )
    return str(found[0].device)


def _why(error: Exception) -> str:
    number = getattr(error, "errno", None)
    if number == errno.ENOENT:
        return "there is no such port; check the adapter's plug, or correct device"
    if number in (errno.EACCES, errno.EPERM):
        return "may not be opened; add this program's user to the port's group, often dialout"
    if number in (errno.EAGAIN, errno.EBUSY) or isinstance(error.__context__, BlockingIOError):
        return (
            "in use by another program; stop that one, a port serves one program and one link only"
        )
    return f"cannot be opened: {error}; check the adapter and the port's settings"
