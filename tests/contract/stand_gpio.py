"""Pins: three switches and an output that moves, on a chip faked at the boundary of libgpiod."""

from collections.abc import Mapping
from pathlib import Path

from drivers.base import BadReply, LinkDown
from drivers.gpio.device import open_link
from drivers.gpio.fake import FakeChip
from drivers.gpio.registers import GpioSettings, OutputSettings, PointSettings
from tests.contract.stands import OUTPUT, TOKEN, Stand, trouble
from tests.virtual_clock import VirtualClock, settle

LINES = {"start_button": 4, "here_button": 5, "estop_ok": 6}
DEAF, CHATTER, BUSY, STUCK = "deaf", "chatter", "busy", "stuck"
OUTPUT_LINE = 7


IMPOSSIBLE = {
    "silence": "a pin always has a level; a cut wire reads as a contact that is open",
    "foreign reply": "the kernel gives each line's own level",
    "half an answer": "a level is one bit",
}
TROUBLES = {
    "edges get lost": trouble(DEAF, "late reply"),
    "contacts that chatter": trouble(CHATTER, "garbage", "failure"),
    "the output's level does not follow": trouble(STUCK, "refusal", write=BadReply),
    "another program took the pins": trouble(BUSY, "refusal", "link_down", write=LinkDown),
}
FIRST = {"start_button": 0.0, "here_button": 0.0, "estop_ok": 1.0}


class GpioStand(Stand):
    kind = "gpio"
    heals_s = 3
    loops = 1
    output = True
    first = FIRST
    waits = None
    offers = frozenset({DEAF, CHATTER, BUSY, STUCK})
    impossible = IMPOSSIBLE
    troubles = TROUBLES

    def __init__(self, folder: Path, clock: VirtualClock) -> None:
        super().__init__(folder, clock)
        self.chip = FakeChip()
        self._chattering = False

    async def start(self) -> None:
        self.show(self.first)
        self.link = open_link(
            "pins",
            GpioSettings(chip="/dev/made-up", stretch_s=0.0),
            {name: PointSettings(line=line, bias="none") for name, line in LINES.items()},
            {OUTPUT: OutputSettings(line=OUTPUT_LINE, token=TOKEN, toggled=True)},
            self.clock,
            request=self.chip.request,
        )

    async def stop(self) -> None:
        await self.link.close()
        assert not self.chip.held

    def move(self) -> None:
        self.tell({name: 1.0 - value for name, value in self.truth.items()})

    def show(self, values: Mapping[str, float]) -> None:
        for name, value in values.items():
            self.chip.drive(LINES[name], high=value == 1.0)

    def misbehave(self, how: str) -> None:
        fault = self.troubles[how].fault
        self._chattering = fault == CHATTER
        self.chip.deaf = set(LINES.values()) if fault == DEAF else set()
        self.chip.stuck = {OUTPUT_LINE} if fault == STUCK else set()
        if fault == BUSY:  # quicker than we, when the chip was away for a moment
            self.chip.unplug()
            self.chip.replug()
            self.chip.busy = True

    def well(self) -> None:
        self.chip.deaf, self.chip.stuck = set(), set()
        self.chip.busy = self._chattering = False

    async def talk(self) -> None:
        while True:
            await self.clock.sleep_until(self.clock.now_ns() + 10_000_000)
            if self._chattering:
                for line in LINES.values():
                    for high in (False, True):
                        self.chip.drive(line, high=high)
            self.show(self.truth)

    async def unplug(self) -> None:
        self.chip.unplug()
        await settle()

    async def replug(self) -> None:
        self.chip.replug()
