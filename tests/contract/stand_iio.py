"""Sensors that the kernel drives, in a made tree of sysfs: one converter for all of them."""

import asyncio
from collections.abc import Mapping
from pathlib import Path

from drivers.linux_iio import PointSettings, SysfsSettings, open_link
from drivers.linux_iio.device import SysfsLink
from drivers.linux_iio.fake import FakeSysfs
from tests.contract.stands import GUARD_S, PADS_AND_BAGS, Stand, moment, trouble
from tests.virtual_clock import VirtualClock, settle

ATTRIBUTES = {
    "pad_inner_c": "in_temp0",
    "pad_outer_c": "in_temp1",
    "bag_inner_kpa": "in_pressure0",
    "bag_outer_kpa": "in_pressure1",
}
NAME = "made-up-converter"
TEXTS = {"letters": "hot\n", "nothing": "", "too much": "1" * 500}
HANGS, HANGS_THEN_OLD = "hangs", "hangs, then old"
ANOTHER, TWO, FAULT_FILE = "another", "two of one name", "fault file"


def text_of(name: str, value: float) -> str:
    """As the kernel has it: thousandths of a degree, kilopascals."""
    return f"{round(value * 1000)}\n" if name.endswith("_c") else f"{value:.6f}\n"


IMPOSSIBLE = {
    "half an answer": "the kernel hands a file over whole, in one read",
}
TROUBLES = {
    "reading hangs": trouble(HANGS, "silence", "no_reply"),
    "reading hangs, then brings an old value": trouble(HANGS_THEN_OLD, "late reply", "no_reply"),
    "another device under the same number": trouble(ANOTHER, "foreign reply", "link_down"),
    "a second device of the same name": trouble(TWO, "foreign reply", "link_down"),
    "letters instead of numbers": trouble("letters", "garbage", "bad_reply"),
    "empty files": trouble("nothing", "garbage", "bad_reply"),
    "endless numbers": trouble("too much", "garbage", "bad_reply"),
    "the kernel's driver says: broken wire": trouble(FAULT_FILE, "refusal", "", "open_circuit"),
}


class IioStand(Stand):
    kind = "linux_iio"
    heals_s = 2
    loops = 1
    threads = True
    offers = frozenset({*TEXTS, HANGS, HANGS_THEN_OLD, ANOTHER, TWO, FAULT_FILE})
    waits = "reading hangs"
    impossible = IMPOSSIBLE
    troubles = TROUBLES

    def __init__(self, folder: Path, clock: VirtualClock) -> None:
        super().__init__(folder, clock)
        self.tree = FakeSysfs(folder / "sys")
        self._devices: list[Path] = []
        self._fault: object = None

    async def start(self) -> None:
        self._plug(NAME)
        points = {
            name: PointSettings(device=NAME, attribute=attribute)
            for name, attribute in ATTRIBUTES.items()
            if name in PADS_AND_BAGS
        }
        settings = SysfsSettings(sysfs=str(self.tree.root), timeout_s=self.timeout_s)
        self.link = open_link("sensors", settings, points, {}, self.clock)

    async def stop(self) -> None:
        self.well()
        await self._reads_ended()
        await self.link.close()

    def show(self, values: Mapping[str, float]) -> None:
        """Where reading hangs it ends, with what was measured before, and hangs again."""
        if self._fault == HANGS:
            return
        if self._fault == HANGS_THEN_OLD:
            self.tree.release(self._first)
        for name, value in values.items():
            for folder in self._devices:
                file = folder / f"{ATTRIBUTES[name]}_input"
                file.write_text(TEXTS.get(str(self._fault), text_of(name, value)))
        if self._fault == HANGS_THEN_OLD:
            self.tree.hang(self._first)

    def misbehave(self, how: str) -> None:
        self._fault = self.troubles[how].fault
        if self._fault in (HANGS, HANGS_THEN_OLD):
            self.tree.hang(self._first)
            return
        if self._fault == ANOTHER:
            self._unplug()
            self._plug("another-converter")
        if self._fault == TWO:
            self._plug(NAME)
        if self._fault == FAULT_FILE:
            (self._devices[0] / "fault_oc").write_text("1\n")
        self.show(self.truth)

    def well(self) -> None:
        fault, self._fault = self._fault, None
        if fault in (HANGS, HANGS_THEN_OLD):
            self.tree.release(self._first)
        elif fault is not None:
            self._unplug()
            self._plug(NAME)
        if self._devices:
            self.show(self.truth)

    async def unplug(self) -> None:
        self._unplug()
        await settle()

    async def replug(self) -> None:
        self._plug("another-converter")  # takes the number that came free
        self._plug(NAME)
        self.show(self.truth)

    async def rest(self) -> None:
        await super().rest()
        if self._fault not in (HANGS, HANGS_THEN_OLD):
            await self._reads_ended()

    async def _reads_ended(self) -> None:
        """A read that hung comes back in a thread, and takes real time for it."""
        assert isinstance(self.link, SysfsLink)
        async with asyncio.timeout(GUARD_S):
            while self.link._under_way:
                await moment()

    @property
    def _first(self) -> Path:
        return self._devices[0] / "in_temp0_input"

    def _plug(self, name: str) -> None:
        number = len(self._devices)
        files = {
            f"{ATTRIBUTES[key]}_input": text_of(key, value) for key, value in self.truth.items()
        }
        self._devices.append(self.tree.plug("iio", number, name, files, f"1-{number:04}"))

    def _unplug(self) -> None:
        for folder in self._devices:
            self.tree.unplug(folder)
        self._devices.clear()
