"""Frames as bytes: what may not change, and what damage must not pass for a frame."""

from dataclasses import fields
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
    assert names[Health] == {"store_ok", "broker_ok", "polls_late", "polls_missed"}


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
    # 62 for the header, 18 a channel, 1 an output, 4 for the check sum.
    assert sizes == {62 + 4 * 18 + 2 + 4}


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
