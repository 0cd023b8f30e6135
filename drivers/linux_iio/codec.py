"""Texts of sysfs files into values, and errors of reading them into reasons; nothing waits.

Source:
    Linux kernel documentation, ABI/testing/sysfs-bus-iio (value = (raw + offset)
    x scale) and hwmon/sysfs-interface, from memory.
"""

import errno
import re
from collections.abc import Mapping
from dataclasses import dataclass

from drivers.linux_iio.registers import TEXT_BYTES_MAX, PointSettings
from drivers.settings import scaled

_NUMBER = re.compile(rb"[+-]?[0-9]+(?:\.[0-9]+)?", re.ASCII)
_GONE = (errno.ENOENT, errno.ENODEV, errno.ENXIO, errno.ENOTDIR, errno.ESTALE)
_SILENT = (errno.ETIMEDOUT, errno.EAGAIN, errno.EBUSY, errno.ENODATA)
_FORBIDDEN = (errno.EACCES, errno.EPERM)


class NoNumber(ValueError):
    """A file whose text is no number."""


@dataclass(frozen=True, slots=True)
class Texts:
    """What the files of one point said, each as it came.

    Attributes:
        counts: of `_raw` or `_input`.
        scale: of IIO; None where there is no such file.
        offset: of IIO; None where there is no such file.
        faults: by reason, those that were there.
        processed: it was `_input`, which needs no scale.
    """

    counts: bytes
    scale: bytes | None
    offset: bytes | None
    faults: Mapping[str, bytes]
    processed: bool


@dataclass(frozen=True, slots=True)
class Decoded:
    """A value, or why there is none; never both."""

    value: float | None
    reason: str = ""
    raw: tuple[int, ...] = ()


def reason_of(error: OSError) -> str:
    """The reason a file that could not be read gives, as in `Sample.reason`."""
    if error.errno in _GONE:
        return "link_down"
    if error.errno in _SILENT:
        return "no_reply"
    return "refused" if error.errno in _FORBIDDEN else "bad_reply"


def number(text: bytes) -> float:
    """The number a file holds.

    Args:
        text: the whole file, or its first `TEXT_BYTES_MAX` + 1 bytes.

    Returns:
        It, finite.

    Raises:
        NoNumber: it is none, or something follows, or it is too long.
    """
    stripped = text.strip(b" \n")
    if len(text) > TEXT_BYTES_MAX or not _NUMBER.fullmatch(stripped):
        raise NoNumber(f"{text[:TEXT_BYTES_MAX]!r} is no number")
    return float(stripped)


def decode(point: PointSettings, texts: Texts) -> Decoded:
    """What a point's files say.

    Args:
        point: its settings.
        texts: of its files.

    Returns:
        The value in the point's unit, or the reason why there is none.
    """
    raw = tuple(texts.counts[:TEXT_BYTES_MAX])
    try:
        for reason, text in texts.faults.items():
            said = number(text)
            if said not in (0, 1):
                return Decoded(None, "bad_reply", raw)
            if said:
                return Decoded(None, reason, raw)
        value = _in_our_unit(point, texts)
    except NoNumber:
        return Decoded(None, "bad_reply", raw)
    if value is None:
        return Decoded(None, "missing", raw)
    return Decoded(*scaled(point, value), raw)


def _in_our_unit(point: PointSettings, texts: Texts) -> float | None:
    """None: raw counts whose scale nobody tells; the ABI says "if known", not "1"."""
    counts = number(texts.counts)
    if texts.processed:
        return counts * point.factor
    if texts.scale is None:
        return None
    offset = 0.0 if texts.offset is None else number(texts.offset)
    return (counts + offset) * number(texts.scale) * point.factor
