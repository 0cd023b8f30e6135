"""Frames as bytes: what may not change, and what damage must not pass for a frame."""

import json
import struct
import zlib
from dataclasses import asdict, fields
from typing import Any

import pytest

from daemon.store import StoreDamaged, codec
from rules.frame import Command, Frame, Health, Quality, Reading, Reason
from tests.store_samples import frame


def _decode(body: bytes, sample: Frame) -> Frame:
    layout = codec.layout_of(sample)
    return codec.decode(body, {layout.key: layout})


def _encode(sample: Frame) -> bytes:
    return codec.encode(sample, codec.layout_of(sample))


def test_every_field_of_a_frame_is_stored() -> None:
    """A field added to these types needs a new format version of the codec."""
    names = {kind: {item.name for item in fields(kind)} for kind in (Frame, Reading, Health)}
    assert names[Frame] == {
        *("seq", "t_ns", "wall_ns", "wall_trusted", "boot_id", "values", "readback", "health"),
        *("commands", "utc_offset_s", "limits_hash"),
    }
    assert names[Reading] == {"value", "quality", "reason", "at_ns"}
    assert names[Health] == {
        *("store_ok", "broker_ok", "polls_late", "polls_missed"),
        *("store_free_mb", "delivery_failing"),
    }


@pytest.mark.parametrize("quality", Quality)
@pytest.mark.parametrize("reason", Reason)
def test_every_quality_and_reason_has_a_code(quality: Quality, reason: Reason) -> None:
    sample = frame(1, values={"probe_c": Reading(1.0, quality, reason, 5)})
    assert _decode(_encode(sample), sample) == sample


def test_codes_of_stored_frames_never_change() -> None:
    """Records of years ago must still read: append to the lists, never reorder."""
    assert [str(quality) for quality in codec._QUALITIES] == ["good", "uncertain", "bad"]
    assert [str(reason) for reason in codec._REASONS[:6]] == [
        *("", "never_read", "no_reply", "link_down", "bad_reply", "refused")
    ]
    assert [str(reason) for reason in codec._REASONS[6:12]] == [
        *("open_circuit", "short_circuit", "below_range", "above_range", "not_a_number", "missing")
    ]


def test_a_frame_without_commands_has_one_size() -> None:
    sizes = {len(_encode(frame(seq, pad_c=seq * 1.7))) for seq in (1, 2**30)}
    # 70 for the header, 18 a channel, 1 an output, 4 for the check sum.
    assert sizes == {70 + 4 * 18 + 2 + 4}


def test_frames_of_the_first_format_still_read() -> None:
    """As the program of version 1 packed it, field by field, with the struct module alone."""
    sample = frame(7, health=Health(True, False, 3, 1))
    layout = codec.layout_of(sample)
    head = struct.pack(
        *("<B16sBqqqiqq", 1, layout.key, 0x01 | 0x02 | 0x10),
        *(sample.seq, sample.t_ns, sample.wall_ns, sample.utc_offset_s, 3, 1),
    )
    at_ns = sample.values["here_button"].at_ns
    values = (21.5, at_ns, 0, 0, 21.5 - 0.7, at_ns, 0, 0, 0.0, sample.t_ns, 0x82, 6, 0.0, at_ns)
    body = head + struct.pack("<" + "dqBB" * 4 + "BB", *values, 0, 0, 1, 0)
    assert _decode(body + struct.pack("<I", zlib.crc32(body)), sample) == sample
    command = Command("c1", "seen", "Kim", "socket", 5)
    told = body + json.dumps([asdict(command)]).encode()
    with_command = frame(7, health=sample.health, commands=(command,))
    assert _decode(told + struct.pack("<I", zlib.crc32(told)), sample) == with_command


def test_a_format_of_a_later_program_is_refused_by_its_number() -> None:
    sample = frame(1)
    body = b"\x03" + _encode(sample)[1:-4]
    with pytest.raises(StoreDamaged, match="format 3, this program reads up to 2"):
        _decode(body + struct.pack("<I", zlib.crc32(body)), sample)


@pytest.mark.parametrize(
    "health",
    [
        Health(),
        Health(store_free_mb=0),
        Health(store_free_mb=15_300, delivery_failing="sms"),
        Health(False, True, 9, 9, None, "mail \N{SNOWMAN} \ud800"),
    ],
)
def test_health_is_kept_whole(health: Health) -> None:
    sample = frame(1, health=health)
    assert _decode(_encode(sample), sample) == sample


def test_any_text_a_person_can_send_is_kept() -> None:
    note = Command("c1", "note", "\N{SNOWMAN}", "mqtt", 5, text='broken \ud800 "half"\x00')
    sample = frame(1, commands=(note,))
    assert _decode(_encode(sample), sample) == sample


@pytest.mark.parametrize("cut", [0, 1, 5, 12, 60, 139])
def test_a_frame_cut_short_is_damaged(cut: int) -> None:
    sample = frame(1)
    with pytest.raises(StoreDamaged, match="altered or cut short"):
        _decode(_encode(sample)[:cut], sample)


def test_every_single_altered_byte_is_seen() -> None:
    sample = frame(1, commands=(Command("c1", "seen", "Kim", "socket", 5),))
    body = _encode(sample)
    for place in range(len(body)):
        altered = bytearray(body)
        altered[place] ^= 0x10
        with pytest.raises(StoreDamaged):
            _decode(bytes(altered), sample)


@pytest.mark.parametrize("changed", [{"readback": {}}, {"boot_id": "b"}, {"limits_hash": "h"}])
def test_a_frame_of_another_layout_is_not_taken_for_one_of_ours(changed: dict[str, Any]) -> None:
    sample, other = frame(1), frame(1, **changed)
    with pytest.raises(StoreDamaged, match="layout"):
        _decode(_encode(sample), other)


def test_a_number_too_large_is_refused_by_name_of_its_frame() -> None:
    with pytest.raises(ValueError, match="frame 7: a number in it is too large"):
        _encode(frame(7, wall_ns=2**63))


def test_a_layout_comes_back_from_its_body() -> None:
    layout = codec.layout_of(frame(1))
    assert codec.layout_from(layout.body) == layout
    with pytest.raises(StoreDamaged, match="layout"):
        codec.layout_from('{"channels":[]}')
