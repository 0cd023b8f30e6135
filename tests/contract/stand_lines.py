"""A board that sends lines, every half second, unasked."""

from collections.abc import Mapping
from pathlib import Path

from drivers.serial_lines import LinesSettings, PointSettings, open_link
from drivers.serial_lines.fake import FakeBoard, Fault
from tests.contract.stands import PADS_AND_BAGS, Names, Stand, trouble
from tests.virtual_clock import VirtualClock, settle

EVERY_S = 0.5
REFUSAL = "!failure"


IMPOSSIBLE = {
    "foreign reply": "one board on one plug, and nobody asks it: no line answers another "
    "question; old lines are under late reply",
}
TROUBLES = {
    "the board keeps silent": trouble(Fault.SILENT, "silence", "no_reply"),
    "half a line in time, half with the next": trouble(Fault.SPLIT, "late reply", ""),
    "an old line again and again": trouble(Fault.STALE, "late reply", "bad_reply"),
    "old lines behind each new one": trouble(Fault.REPLAY, "late reply"),
    "each line twice": trouble(Fault.TWICE, "late reply"),
    "lines whose number stands still": trouble(Fault.STUCK, "late reply", "bad_reply"),
    "noise, as at a wrong baud rate": trouble(Fault.GARBAGE, "garbage", "bad_reply"),
    "zero bytes, as on a broken wire": trouble(Fault.NULS, "garbage", "bad_reply"),
    "wrong checksums": trouble(Fault.WRONG_CHECKSUM, "garbage", "bad_reply"),
    "no checksums": trouble(Fault.NO_CHECKSUM, "garbage", "bad_reply"),
    "endless lines": trouble(Fault.TOO_LONG, "garbage", "bad_reply"),
    "letters without an end": trouble(Fault.NO_END, "garbage", "bad_reply"),
    "a flood of good lines": trouble(Fault.FLOOD, "garbage", "bad_reply"),
    "one key too many": trouble(Fault.ONE_TWICE, "garbage", "bad_reply"),
    "half a line, then the next": trouble(Fault.HALF, "half an answer", "bad_reply"),
    "the board says that its sensors failed": trouble(REFUSAL, "refusal", "failure"),
}


class LinesStand(Stand):
    kind = "serial_lines"
    heals_s = 5
    older_s = 0.5  # two looks at the port, see drivers/serial_lines/newness.py
    offers = frozenset({*Fault, REFUSAL})
    waits = "the board keeps silent"
    impossible = IMPOSSIBLE
    troubles = TROUBLES

    def __init__(self, folder: Path, clock: VirtualClock) -> None:
        super().__init__(folder, clock)
        self.board = FakeBoard(folder / "board", {})
        self._names = Names()
        self._refusing = False

    async def start(self) -> None:
        self.show(PADS_AND_BAGS)
        self.board.plug()
        settings = LinesSettings(device=str(self.board.path), form="key_value")
        points = {name: PointSettings(key=name) for name in PADS_AND_BAGS}
        self.link = open_link("board", settings, points, {}, self.clock)

    async def stop(self) -> None:
        await self.link.close()
        self.board.unplug()
        self._names.give_back()

    async def talk(self) -> None:
        await self.board.talk(self.clock, EVERY_S)

    def show(self, values: Mapping[str, float]) -> None:
        self.board.values = {
            name: REFUSAL if self._refusing else f"{value:.1f}" for name, value in values.items()
        }

    def misbehave(self, how: str) -> None:
        fault = self.troubles[how].fault
        if fault == REFUSAL:
            self._refusing = True
            self.show(self.truth)
        else:
            assert isinstance(fault, Fault)
            self.board.fault = fault

    def well(self) -> None:
        self.board.fault, self._refusing = None, False
        self.show(self.truth)

    async def unplug(self) -> None:
        self._names.note(self.board.path)
        self.board.unplug()
        await settle()

    async def replug(self) -> None:
        self._names.take()
        self.board.plug()
