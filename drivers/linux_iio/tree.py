"""One device of sysfs: found by its name, held by its folder, its files read; may block.

Called in a thread only. The folder is held open while its files are read, so
that two devices cannot mix when one goes and another takes its number. What may
rightly be absent is read first and the value last: when that is there, the
device was there before.
"""

import errno
import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from drivers.linux_iio.codec import Decoded, Texts, decode, reason_of
from drivers.linux_iio.registers import (
    DEVICES_MAX,
    PLACES,
    TEXT_BYTES_MAX,
    DeviceName,
    PointSettings,
)

_FOLDER = os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC


class NotFoundError(Exception):
    """No device, or more than one, has the name looked for."""


def read_device(
    sysfs: str, wanted: DeviceName, points: Mapping[str, PointSettings]
) -> dict[str, Decoded]:
    """Read all points of one device.

    Args:
        sysfs: where the kernel shows its devices.
        wanted: the device.
        points: what to read of it, by name.

    Returns:
        What each point says, or the reason why it says nothing.

    Raises:
        NotFoundError: not there, or not to be told from another.
    """
    with _folder_of(sysfs, wanted) as folder:
        return {name: _read(folder, point) for name, point in points.items()}


@contextmanager
def _folder_of(sysfs: str, wanted: DeviceName) -> Iterator[int]:
    found: list[int] = []
    try:
        for path in _paths(sysfs, wanted):
            folder = _opened_if(path, wanted)
            if folder is not None:
                found.append(folder)
        if not found:
            raise NotFoundError(
                f"no {wanted.subsystem} device {wanted} is there; check its wiring and that its "
                "kernel driver is loaded, or correct device"
            )
        if len(found) > 1:
            raise NotFoundError(
                f"{len(found)} {wanted.subsystem} devices are called {wanted}; tell them apart by "
                "bus_address, which is in each device's real path"
            )
        yield found[0]
    finally:
        for folder in found:
            os.close(folder)


def _paths(sysfs: str, wanted: DeviceName) -> list[Path]:
    place, prefix = PLACES[wanted.subsystem]
    try:
        entries = sorted(Path(sysfs, place).iterdir())
    except OSError:
        return []
    return [path for path in entries if path.name.startswith(prefix)][:DEVICES_MAX]


def _opened_if(path: Path, wanted: DeviceName) -> int | None:
    """The device's folder, if it is the one wanted."""
    try:
        if wanted.bus_address is not None:  # where it really is costs time, at every poll
            path = path.resolve(strict=True)
            if wanted.bus_address not in path.parts[:-1]:
                return None
        folder = os.open(path, _FOLDER)
    except OSError:  # went away while we looked
        return None
    try:
        name = _text(folder, "name")
    except OSError:
        name = None
    if name is None or name.strip(b"\n") != wanted.device.encode():
        os.close(folder)
        return None
    return folder


def _read(folder: int, point: PointSettings) -> Decoded:
    try:
        return decode(point, _texts(folder, point))
    except OSError as error:
        return Decoded(None, reason_of(error))


def _texts(folder: int, point: PointSettings) -> Texts:
    faults = {}
    for file, reason in point.fault_files():
        if (text := _text(folder, file)) is not None:
            faults[reason] = text
    scale = offset = None
    if point.found_by.subsystem == "iio":
        scale = _first(folder, point.files_of("_scale"))
        offset = _first(folder, point.files_of("_offset"))
        counts = _text(folder, f"{point.attribute}_raw")
        if counts is not None:
            return Texts(counts, scale, offset, faults, processed=False)
    counts = _text(folder, f"{point.attribute}_input")
    if counts is None:
        raise OSError(errno.ENOENT, os.strerror(errno.ENOENT), point.attribute)
    return Texts(counts, scale, offset, faults, processed=True)


def _first(folder: int, files: tuple[str, ...]) -> bytes | None:
    for file in files:
        if (text := _text(folder, file)) is not None:
            return text
    return None


def _text(folder: int, file: str) -> bytes | None:
    """A file's text, one byte too long at most; None where there is no such file."""
    try:
        opened = os.open(file, os.O_RDONLY | os.O_CLOEXEC, dir_fd=folder)
    except FileNotFoundError:
        return None
    try:
        return os.read(opened, TEXT_BYTES_MAX + 1)
    finally:
        os.close(opened)
