"""A frame to bytes and back, equal to the bit.

Fixed layout, little endian: header, then per channel value, time, quality and
reason, then the outputs as read back, then a JSON tail only when there is text
to keep, then a CRC-32. What stays the same from frame to frame is stored once,
as a `Layout`; the header names it by its hash. The order of the lists
`_QUALITIES` and `_REASONS` is part of the format: append, never reorder.

The first byte is the version. Version 1 had no room of the disk in its header,
and a tail that was the list of commands alone; its frames still read.
"""

import hashlib
import json
import struct
import zlib
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from functools import lru_cache
from typing import Any

from daemon.store.errors import StoreDamaged
from rules.frame import Command, Frame, Health, Quality, Reading, Reason

VERSION = 2
_KEY_BYTES = 16
_HEAD_BYTES = 1 + _KEY_BYTES
_CRC = struct.Struct("<I")
# version, layout, flags, seq, t_ns, wall_ns, utc_offset_s, polls late, missed
_HEADER_1 = f"<B{_KEY_BYTES}sBqqqiqq"
# and the room on the disk, with -1 for not known
_HEADERS = {1: _HEADER_1, VERSION: _HEADER_1 + "q"}
_HEADER_ITEMS = {1: 9, VERSION: 10}
_NOT_KNOWN = -1

_WALL_TRUSTED, _STORE_OK = 0x01, 0x02
_BROKER_SHIFT, _BROKER_MASK = 4, 0x30
_NO_VALUE = 0x80
_TRISTATE: tuple[bool | None, ...] = (None, False, True)
_TRISTATE_CODES = {state: code for code, state in enumerate(_TRISTATE)}

_QUALITIES = (Quality.GOOD, Quality.UNCERTAIN, Quality.BAD)
_REASONS = (
    Reason.NONE,
    Reason.NEVER_READ,
    Reason.NO_REPLY,
    Reason.LINK_DOWN,
    Reason.BAD_REPLY,
    Reason.REFUSED,
    Reason.OPEN_CIRCUIT,
    Reason.SHORT_CIRCUIT,
    Reason.BELOW_RANGE,
    Reason.ABOVE_RANGE,
    Reason.NOT_A_NUMBER,
    Reason.MISSING,
    Reason.COLD_JUNCTION,
    Reason.FAILURE,
    Reason.CHECK_FUNCTION,
    Reason.OUT_OF_SPECIFICATION,
    Reason.MAINTENANCE_REQUIRED,
)
_QUALITY_CODES = {quality: code for code, quality in enumerate(_QUALITIES)}
_REASON_CODES = {reason: code for code, reason in enumerate(_REASONS)}


@dataclass(frozen=True, slots=True)
class Layout:
    """What stays the same from frame to frame.

    Attributes:
        body: all of it as JSON, as stored.
        key: the first bytes of the SHA-256 of `body`; names it in each frame.
        channels: keys of `Frame.values`, in order.
        outputs: keys of `Frame.readback`, in order.
        boot_id: of the frames.
        limits_hash: of the frames.
        fixed: packs everything of fixed size, by version of the format.
    """

    body: str
    key: bytes
    channels: tuple[str, ...]
    outputs: tuple[str, ...]
    boot_id: str
    limits_hash: str
    fixed: Mapping[int, struct.Struct]


@lru_cache(maxsize=256)
def layout_for(
    channels: tuple[str, ...], outputs: tuple[str, ...], boot_id: str, limits_hash: str
) -> Layout:
    """The layout of frames that have all this in common."""
    same = {"channels": channels, "outputs": outputs, "boot_id": boot_id}
    # ASCII escapes carry any text, broken surrogates too.
    body = json.dumps(same | {"limits_hash": limits_hash}, separators=(",", ":"))
    key = hashlib.sha256(body.encode()).digest()[:_KEY_BYTES]
    rest = "dqBB" * len(channels) + "B" * len(outputs)
    fixed = {version: struct.Struct(header + rest) for version, header in _HEADERS.items()}
    return Layout(body, key, channels, outputs, boot_id, limits_hash, fixed)


def layout_of(frame: Frame) -> Layout:
    """The layout of a frame."""
    return layout_for(tuple(frame.values), tuple(frame.readback), frame.boot_id, frame.limits_hash)


def layout_from(body: str) -> Layout:
    """The layout whose `body` this is.

    Raises:
        StoreDamaged: it is none.
    """
    try:
        found = json.loads(body)
        channels, outputs = tuple(found["channels"]), tuple(found["outputs"])
        return layout_for(channels, outputs, found["boot_id"], found["limits_hash"])
    except (ValueError, KeyError, TypeError) as error:
        raise StoreDamaged(f"a stored frame layout cannot be read: {error}") from error


def layout_key(body: bytes) -> bytes:
    """The key of the layout that a stored frame names; not checked."""
    return body[1:_HEAD_BYTES]


def encode(frame: Frame, layout: Layout) -> bytes:
    """A frame as bytes.

    Args:
        frame: any frame.
        layout: `layout_of(frame)`.

    Raises:
        ValueError: a whole number does not fit into 64 bits, or a value into a float.
    """
    items: list[Any] = [VERSION, layout.key, _flags(frame), frame.seq, frame.t_ns]
    items += [frame.wall_ns, frame.utc_offset_s]
    health = frame.health
    free_mb = _NOT_KNOWN if health.store_free_mb is None else health.store_free_mb
    items += [health.polls_late, health.polls_missed, free_mb]
    for reading in frame.values.values():
        missing = reading.value is None
        items.append(0.0 if missing else reading.value)
        items.append(reading.at_ns)
        items.append(_QUALITY_CODES[reading.quality] | (_NO_VALUE if missing else 0))
        items.append(_REASON_CODES[reading.reason])
    items += [_TRISTATE_CODES[state] for state in frame.readback.values()]
    try:
        body = layout.fixed[VERSION].pack(*items)
    except (struct.error, OverflowError) as error:
        raise ValueError(
            f"frame {frame.seq}: a number in it is too large to store: {error}"
        ) from error
    body += _tail(frame)
    return body + _CRC.pack(zlib.crc32(body))


def decode(body: bytes, layouts: Mapping[bytes, Layout]) -> Frame:
    """The frame whose `encode` is `body`.

    Args:
        body: as stored.
        layouts: stored layouts by key.

    Raises:
        StoreDamaged: altered, cut short, or of an unknown format or layout.
    """
    checked = body[: -_CRC.size]
    if len(body) < _HEAD_BYTES + _CRC.size or _CRC.pack(zlib.crc32(checked)) != body[-_CRC.size :]:
        raise StoreDamaged(
            f"a stored frame of {len(body)} bytes was altered or cut short "
            "(its check sum disagrees); keep the store and look at the disk"
        )
    version = checked[0]
    if version not in _HEADERS:
        raise StoreDamaged(
            f"a stored frame has format {version}, this program reads up to {VERSION}"
        )
    layout = layouts.get(layout_key(checked))
    if layout is None or len(checked) < layout.fixed[version].size:
        raise StoreDamaged("a stored frame names a layout that is not stored, or is too short")
    return _unpack(checked, layout, version)


def _unpack(checked: bytes, layout: Layout, version: int) -> Frame:
    fixed, header_items = layout.fixed[version], _HEADER_ITEMS[version]
    items = fixed.unpack_from(checked)
    _, _, flags, seq, t_ns, wall_ns, utc_offset_s, late, missed = items[: _HEADER_ITEMS[1]]
    free_mb = _NOT_KNOWN if version == 1 else items[_HEADER_ITEMS[1]]
    commands, delivery_failing = _texts(checked[fixed.size :], version)
    values_end = header_items + 4 * len(layout.channels)
    values = {
        name: Reading(
            None if items[at + 2] & _NO_VALUE else items[at],
            _QUALITIES[items[at + 2] & ~_NO_VALUE],
            _REASONS[items[at + 3]],
            items[at + 1],
        )
        for name, at in zip(layout.channels, range(header_items, values_end, 4), strict=True)
    }
    states = (_TRISTATE[code] for code in items[values_end:])
    return Frame(
        seq=seq,
        t_ns=t_ns,
        wall_ns=wall_ns,
        wall_trusted=bool(flags & _WALL_TRUSTED),
        boot_id=layout.boot_id,
        values=values,
        readback=dict(zip(layout.outputs, states, strict=True)),
        health=Health(
            store_ok=bool(flags & _STORE_OK),
            broker_ok=_TRISTATE[(flags & _BROKER_MASK) >> _BROKER_SHIFT],
            polls_late=late,
            polls_missed=missed,
            store_free_mb=None if free_mb == _NOT_KNOWN else free_mb,
            delivery_failing=delivery_failing,
        ),
        commands=tuple(Command(**command) for command in commands),
        utc_offset_s=utc_offset_s,
        limits_hash=layout.limits_hash,
    )


def storable(text: str) -> str:
    """Text that the database takes: a broken surrogate becomes a question mark."""
    return text.encode("utf-8", "replace").decode()


def _flags(frame: Frame) -> int:
    flags = _TRISTATE_CODES[frame.health.broker_ok] << _BROKER_SHIFT
    flags |= _WALL_TRUSTED if frame.wall_trusted else 0
    return flags | (_STORE_OK if frame.health.store_ok else 0)


def _tail(frame: Frame) -> bytes:
    failing = frame.health.delivery_failing
    if not frame.commands and not failing:
        return b""
    commands = [asdict(command) for command in frame.commands]
    return json.dumps({"commands": commands, "delivery_failing": failing}).encode()


def _texts(tail: bytes, version: int) -> tuple[list[dict[str, Any]], str]:
    """Commands, and the destination that takes nothing, out of a frame's tail."""
    if not tail:
        return [], ""
    found = json.loads(tail)
    return (found, "") if version == 1 else (found["commands"], found["delivery_failing"])
