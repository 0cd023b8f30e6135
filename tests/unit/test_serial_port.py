"""The serial port on real pseudo-terminals: opened, read, written, pulled out."""

import asyncio
import errno
import fcntl
import os
import select
import struct
import subprocess
import sys
import termios
import tty
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from types import SimpleNamespace

import pytest
import serial
from pydantic import ValidationError
from serial.tools import list_ports

from drivers.base import LinkDown
from drivers.serial_port import UNREAD_BYTES_MAX, PortSettings, SerialPort

GUARD_S = 10.0
TIOCGEXCL = 0x80045440  # asm-generic/ioctls.h of Linux


class Wire:
    """Both ends of a pseudo-terminal: `far` is the adapter's other side."""

    def __init__(self) -> None:
        self.far, self.near = os.openpty()
        tty.setraw(self.near)
        os.set_blocking(self.far, False)
        self.device = os.ttyname(self.near)

    def send(self, data: bytes) -> int:
        sent = os.write(self.far, data)
        # Asking makes the kernel hand over what it still holds for the other end.
        select.select([self.near], [], [], 0)
        return sent

    def unplug(self) -> None:
        os.close(self.far)
        os.close(self.near)
        self.far = self.near = -1


@pytest.fixture
def wire() -> Iterator[Wire]:
    made = Wire()
    yield made
    if made.far >= 0:
        made.unplug()


def settings(device: str) -> PortSettings:
    return PortSettings(device=device, parity="none")


async def test_nothing_there_is_not_the_end_of_the_port(wire: Wire) -> None:
    """With VMIN = 0 the kernel answers both with nothing; see termios(3)."""
    port = SerialPort(settings(wire.device))
    for _ in range(3):
        assert port.take() == b""
    assert port.usable
    wire.send(b"139.8")
    assert port.take() == b"139.8"
    assert port.take() == b""
    port.close()


async def test_what_came_before_opening_is_thrown_away(wire: Wire) -> None:
    wire.send(b"old")
    port = SerialPort(settings(wire.device))
    wire.send(b"new")
    assert port.take() == b"new"
    port.close()


async def test_came_returns_for_bytes_and_for_the_end(wire: Wire) -> None:
    port = SerialPort(settings(wire.device))
    waiting = asyncio.ensure_future(port.came())
    for _ in range(5):
        await asyncio.sleep(0)  # noqa: TID251 - gives way once and waits for no time
    assert not waiting.done()
    wire.send(b"1")
    async with asyncio.timeout(GUARD_S):
        await waiting
        await port.came()  # still not taken
        assert port.take() == b"1"
        wire.unplug()
        await port.came()
    assert not port.usable
    assert port.lost.startswith("lost: ")
    port.close()


async def test_what_came_before_the_end_can_still_be_taken(wire: Wire) -> None:
    port = SerialPort(settings(wire.device))
    wire.send(b"last words")
    async with asyncio.timeout(GUARD_S):
        await port.came()
    wire.unplug()
    assert port.take() == b"last words"
    assert not port.usable
    assert port.take() == b""
    port.close()


async def test_what_nobody_takes_is_bounded_and_goes_on_when_taken(wire: Wire) -> None:
    """The kernel keeps the surplus, then the sender stands: memory is bounded."""
    port = SerialPort(settings(wire.device))
    pattern = bytes(range(256)) * 16
    sent = bytearray()
    for _ in range(400):
        try:
            count = wire.send(pattern)
        except BlockingIOError:
            break
        sent += pattern[:count]
        await asyncio.sleep(0)  # noqa: TID251 - lets the port read
    assert UNREAD_BYTES_MAX < len(sent) < 4 * UNREAD_BYTES_MAX
    assert not asyncio.get_running_loop().remove_reader(port._fd)  # it costs no time meanwhile
    first = port.take()
    assert len(first) == UNREAD_BYTES_MAX
    found = bytearray(first)
    while more := port.take():
        found += more
    assert found == sent
    async with asyncio.timeout(GUARD_S):  # and it is watched again
        wire.send(b"again")
        await port.came()
    assert port.take() == b"again"
    port.close()


async def test_written_whole_even_when_the_other_side_reads_slowly(wire: Wire) -> None:
    port = SerialPort(settings(wire.device))
    data = bytes(range(256)) * 200
    writing = asyncio.ensure_future(port.write(data))
    read = bytearray()
    async with asyncio.timeout(GUARD_S):
        while len(read) < len(data):
            await asyncio.sleep(0)  # noqa: TID251 - lets the port write
            try:
                read += os.read(wire.far, 1000)
            except BlockingIOError:
                continue
        await writing
    assert read == data
    port.close()


async def test_a_write_that_waits_ends_with_the_port(wire: Wire) -> None:
    port = SerialPort(settings(wire.device))
    writing = asyncio.ensure_future(port.write(bytes(1_000_000)))
    for _ in range(5):
        await asyncio.sleep(0)  # noqa: TID251 - lets the port write
    assert not writing.done()
    wire.unplug()
    async with asyncio.timeout(GUARD_S):
        with pytest.raises(LinkDown, match="lost"):
            await writing
    port.close()


async def test_a_cancelled_write_leaves_the_port_usable(wire: Wire) -> None:
    port = SerialPort(settings(wire.device))
    writing = asyncio.ensure_future(port.write(bytes(1_000_000)))
    for _ in range(5):
        await asyncio.sleep(0)  # noqa: TID251 - lets the port write
    writing.cancel()
    with pytest.raises(asyncio.CancelledError):
        await writing
    wire.send(b"well")
    assert port.take() == b"well"
    port.close()


async def test_closing_twice_is_no_error_and_ends_a_wait(wire: Wire) -> None:
    port = SerialPort(settings(wire.device))
    waiting = asyncio.ensure_future(port.came())
    await asyncio.sleep(0)  # noqa: TID251 - lets it begin
    port.close()
    port.close()
    async with asyncio.timeout(GUARD_S):
        await waiting
    assert port.lost == "closed by us"
    assert port.take() == b""
    with pytest.raises(LinkDown, match="closed by us"):
        await port.write(b"x")


@pytest.mark.parametrize("closes", [True, False])
async def test_closing_drops_what_was_not_sent(wire: Wire, closes: bool) -> None:
    """Otherwise the kernel waits for it, half a minute on an adapter that takes nothing."""
    port = SerialPort(settings(wire.device))
    written = 0
    while select.select([], [port._fd], [], 0.1)[1]:
        written += os.write(port._fd, bytes(1000))
    if closes:
        port.close()
    read = 0
    with suppress(BlockingIOError):
        while select.select([wire.far], [], [], 0.1)[0]:
            read += len(os.read(wire.far, 4096))
    port.close()
    assert (read < written) is closes


async def test_a_port_serves_one_program_only(wire: Wire) -> None:
    port = SerialPort(settings(wire.device))
    with pytest.raises(LinkDown, match="in use by another program; stop that one"):
        SerialPort(settings(wire.device))
    port.close()
    SerialPort(settings(wire.device)).close()  # and free again afterwards


async def test_a_port_another_program_has_locked_is_refused(wire: Wire) -> None:
    other = serial.Serial(wire.device, exclusive=True)
    with pytest.raises(LinkDown, match="in use by another program"):
        SerialPort(settings(wire.device))
    other.close()
    SerialPort(settings(wire.device)).close()


async def test_programs_that_look_for_no_lock_are_kept_out_too(wire: Wire) -> None:
    port = SerialPort(settings(wire.device))
    assert exclusive(wire.near)
    if os.geteuid() == 0:
        os.chmod(wire.device, 0o666)  # noqa: PTH101, S103 - a pseudo-terminal of this test
        program = (
            "import os, sys; os.setuid(65534)\n"
            "try: os.open(sys.argv[1], os.O_RDWR | os.O_NOCTTY)\n"
            "except OSError as error: print(error.errno)"
        )
        told = subprocess.run(  # noqa: ASYNC221 - over in an instant, nothing else runs here
            [sys.executable, "-I", "-c", program, wire.device],
            capture_output=True,
            check=True,
            timeout=GUARD_S,
        )
        assert int(told.stdout) == errno.EBUSY
    port.close()
    assert not exclusive(wire.near)


def exclusive(fd: int) -> bool:
    (state,) = struct.unpack("i", fcntl.ioctl(fd, TIOCGEXCL, bytes(4)))
    return bool(state)


async def test_what_is_no_port_says_so(tmp_path: Path) -> None:
    """What cannot be a port says so, with what to do."""
    nowhere = tmp_path / "tty-board"
    with pytest.raises(LinkDown, match=r"tty-board: there is no such port; check .* plug"):
        SerialPort(settings(str(nowhere)))
    nowhere.write_text("not a port")
    with pytest.raises(LinkDown, match=r"cannot be opened: .*; check the adapter"):
        SerialPort(settings(str(nowhere)))


async def test_settings_the_port_refuses_are_an_error_of_the_link(
    wire: Wire, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Some drivers refuse parity; termios.error is no OSError. Made at the boundary."""

    def refuse(*_: object) -> None:
        raise termios.error(errno.EINVAL, "Invalid argument")

    monkeypatch.setattr(termios, "tcsetattr", refuse)
    with pytest.raises(LinkDown, match=r"cannot be opened: .*Invalid argument"):
        SerialPort(settings(wire.device))


async def test_a_port_of_others_says_which_group(
    wire: Wire, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Made at the boundary: whoever runs this may be allowed everything."""

    def refuse(*_: object) -> None:
        raise PermissionError(errno.EACCES, "Permission denied")

    monkeypatch.setattr(os, "open", refuse)
    with pytest.raises(LinkDown, match="may not be opened; add this program's user"):
        SerialPort(settings(wire.device))


async def test_found_again_behind_the_same_link_under_another_name(
    tmp_path: Path, wire: Wire
) -> None:
    """As udev makes them under /dev/serial/by-id."""
    link = tmp_path / "usb-board"
    link.symlink_to(wire.device)
    port = SerialPort(settings(str(link)))
    other = Wire()
    wire.unplug()
    port.take()
    assert not port.usable
    port.close()
    link.unlink()
    link.symlink_to(other.device)
    again = SerialPort(settings(str(link)))
    other.send(b"here")
    assert again.take() == b"here"
    again.close()
    other.unplug()


async def test_found_by_the_adapter_s_serial_number(
    wire: Wire, monkeypatch: pytest.MonkeyPatch
) -> None:
    """There is no USB here: pyserial's list of ports is the boundary."""
    plugged: list[SimpleNamespace] = []
    monkeypatch.setattr(list_ports, "comports", lambda: plugged)
    wanted = PortSettings(usb_serial_number="A1B2", parity="none")
    with pytest.raises(LinkDown, match="no USB adapter with serial number A1B2 is plugged in"):
        SerialPort(wanted)
    plugged += [
        SimpleNamespace(serial_number=None, device="/dev/ttyS0"),
        SimpleNamespace(serial_number="A1B2", device=wire.device),
    ]
    port = SerialPort(wanted)
    wire.send(b"here")
    assert port.take() == b"here"
    assert port.where == "adapter A1B2"
    port.close()
    plugged.append(SimpleNamespace(serial_number="A1B2", device="/dev/ttyUSB9"))
    with pytest.raises(LinkDown, match="2 ports have the serial number A1B2; name one by device"):
        SerialPort(wanted)


@pytest.mark.parametrize("gone", [TypeError("int(None)"), FileNotFoundError("ttyUSB1")])
async def test_an_adapter_pulled_out_while_all_are_looked_at_is_no_crash(
    monkeypatch: pytest.MonkeyPatch, gone: Exception
) -> None:
    """What pyserial 3.5 raises when another adapter's files go between two of its reads."""

    def pulled_out() -> list[SimpleNamespace]:
        raise gone

    monkeypatch.setattr(list_ports, "comports", pulled_out)
    with pytest.raises(LinkDown, match="A1B2 was looked for; it is looked for again"):
        SerialPort(PortSettings(usb_serial_number="A1B2", parity="none"))


@pytest.mark.parametrize("given", [{}, {"device": "/dev/ttyUSB0", "usb_serial_number": "A1B2"}])
def test_one_way_to_find_the_port(given: dict[str, str]) -> None:
    with pytest.raises(ValidationError, match="give one of the two"):
        PortSettings(**given)


def test_how_long_a_character_takes() -> None:
    """Modbus over Serial Line V1.02, 2.5.1: 11 bits with parity or two stop bits."""
    assert PortSettings(device="x").bits_per_character == 11
    assert PortSettings(device="x", parity="none", stop_bits=2).bits_per_character == 11
    assert PortSettings(device="x", parity="none").bits_per_character == 10
    assert PortSettings(device="x", baud_rate=9600).character_s(96) == pytest.approx(0.11)
