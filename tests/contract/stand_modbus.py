"""Modbus over TCP and on a serial bus: two modules that measure, one with the relay."""

from collections.abc import Mapping
from pathlib import Path

from drivers.base import BadReply, LinkDown
from drivers.modbus import OutputSettings, PointSettings, RtuSettings, TcpSettings, open_link
from drivers.modbus.fake import FakeServer, Fault
from drivers.modbus.fake_rtu import FakeBus, RtuFault
from drivers.modbus.fake_units import FakeUnits, Place
from tests.contract.stands import OUTPUT, PADS_AND_BAGS, TOKEN, Names, Stand, trouble
from tests.virtual_clock import VirtualClock, settle

# Two modules whose answers have one shape, so that one could pass for the other.
NOTHING: Mapping[str, str] = {}
PLACES = {
    "pad_inner_c": (1, 0),
    "pad_outer_c": (1, 1),
    "bag_inner_kpa": (2, 0),
    "bag_outer_kpa": (2, 1),
}
POINTS = {
    name: PointSettings(unit=unit, table="input", register=number, type="int16", scale=0.1)
    for name, (unit, number) in PLACES.items()
}
RELAY = 3
OUTPUTS = {OUTPUT: OutputSettings(unit=RELAY, register=0, token=TOKEN)}
UNITS = (1, 2, RELAY)


def registers(values: Mapping[str, float]) -> dict[Place, int]:
    """What the modules hold that measure these."""
    return {
        (unit, "input", number): round(values[name] * 10) & 0xFFFF
        for name, (unit, number) in PLACES.items()
    }


class _ModbusStand(Stand):
    waits = "the modules keep silent"
    output = True
    fake: FakeUnits

    def show(self, values: Mapping[str, float]) -> None:
        self.fake.values.update(registers(values))

    async def stop(self) -> None:
        await self.link.close()
        await self.unplug()


TCP_TROUBLES = {
    "the modules keep silent": trouble(Fault.SILENT, "silence", "no_reply", write=LinkDown),
    "each answer comes after its time, with the next": trouble(
        Fault.LATE, "late reply", "no_reply", write=LinkDown
    ),
    "half an answer in time, half with the next": trouble(
        Fault.SPLIT_LATE, "late reply", "bad_reply", write=BadReply
    ),
    "answers to another question": trouble(
        Fault.FOREIGN_TRANSACTION, "foreign reply", "no_reply", write=LinkDown
    ),
    "answers without the question's number": trouble(
        Fault.ZERO_TRANSACTION, "foreign reply", "no_reply", write=LinkDown
    ),
    "answers of another module": trouble(
        Fault.FOREIGN_UNIT, "foreign reply", "bad_reply", write=BadReply
    ),
    "answers to another function": trouble(
        Fault.FOREIGN_FUNCTION, "foreign reply", "bad_reply", write=BadReply
    ),
    "a register too few": trouble(Fault.SHORT_COUNT, "half an answer", "bad_reply", write=BadReply),
    "a register too many": trouble(Fault.LONG_COUNT, "garbage", "bad_reply", write=BadReply),
    "noise": trouble(Fault.GARBAGE, "garbage", "bad_reply", write=BadReply),
    "half an answer, then nothing": trouble(
        Fault.HALF_THEN_SILENT, "half an answer", "bad_reply", write=BadReply
    ),
    "half an answer, then hung up": trouble(
        Fault.HALF_THEN_CLOSE, "half an answer", "link_down", write=LinkDown
    ),
    "the modules refuse": trouble(Fault.REFUSE, "refusal", "refused", write=BadReply),
    "the gateway says that they are silent": trouble(
        Fault.GATEWAY_SILENT, "refusal", "no_reply", write=LinkDown
    ),
}


class TcpStand(_ModbusStand):
    kind = "modbus_tcp"
    heals_s = 3
    impossible = NOTHING
    offers = frozenset(Fault)
    troubles = TCP_TROUBLES

    async def start(self) -> None:
        self.fake = FakeServer({**registers(PADS_AND_BAGS), (RELAY, "coil", 0): 0})
        await self.fake.start()
        settings = TcpSettings(host="127.0.0.1", port=self.fake.port, timeout_s=self.timeout_s)
        self.link = open_link("bay", settings, POINTS, OUTPUTS, self.clock)

    def misbehave(self, how: str) -> None:
        fault = self.troubles[how].fault
        assert isinstance(fault, Fault)
        self.fake.faults = dict.fromkeys(UNITS, fault)

    def well(self) -> None:
        self.fake.faults = {}

    async def unplug(self) -> None:
        await self.fake.stop()
        await settle()

    async def replug(self) -> None:
        await self.fake.start()


RTU_TROUBLES = {
    "the modules keep silent": trouble(RtuFault.SILENT, "silence", "no_reply", write=LinkDown),
    "each answer comes after its time, with the next": trouble(
        RtuFault.LATE, "late reply", "no_reply", write=LinkDown
    ),
    "half an answer in time, half with the next": trouble(
        RtuFault.SPLIT_LATE, "late reply", "bad_reply", "no_reply", write=BadReply
    ),
    "right answers, byte by byte": trouble(RtuFault.TRICKLED, "late reply"),
    "noise before each answer": trouble(RtuFault.GARBAGE_BEFORE, "garbage"),
    "noise": trouble(RtuFault.GARBAGE, "garbage", "bad_reply", "no_reply", write=BadReply),
    "wrong checksums": trouble(RtuFault.WRONG_CRC, "garbage", "bad_reply", write=BadReply),
    "half an answer, then nothing": trouble(
        RtuFault.HALF_THEN_SILENT, "half an answer", "bad_reply", "no_reply", write=BadReply
    ),
    "answers of another module": trouble(
        RtuFault.FOREIGN_UNIT, "foreign reply", "bad_reply", "no_reply", write=BadReply
    ),
    "answers to another function": trouble(
        RtuFault.FOREIGN_FUNCTION, "foreign reply", "bad_reply", "no_reply", write=BadReply
    ),
    "a register too few": trouble(
        RtuFault.SHORT_COUNT, "half an answer", "bad_reply", "no_reply", write=BadReply
    ),
    "a register too many": trouble(
        RtuFault.LONG_COUNT, "garbage", "bad_reply", "no_reply", write=BadReply
    ),
    "each answer twice": trouble(
        RtuFault.DOUBLED, "foreign reply", "bad_reply", "no_reply", write=BadReply
    ),
    "each answer again, with the next": trouble(
        RtuFault.DOUBLED_LATE, "foreign reply", "", "bad_reply", "no_reply"
    ),
    "another master asks too": trouble(
        RtuFault.SECOND_MASTER, "foreign reply", "bad_reply", write=BadReply
    ),
    "another master's answers": trouble(
        RtuFault.SECOND_MASTER_UNHEARD, "foreign reply", "bad_reply", "no_reply", write=BadReply
    ),
    "the modules refuse": trouble(RtuFault.REFUSE, "refusal", "refused", write=BadReply),
    "the gateway says that they are silent": trouble(
        RtuFault.GATEWAY_SILENT, "refusal", "no_reply", write=LinkDown
    ),
}


class RtuStand(_ModbusStand):
    kind = "modbus_rtu"
    heals_s = 8
    impossible = NOTHING
    offers = frozenset(RtuFault)
    troubles = RTU_TROUBLES

    def __init__(self, folder: Path, clock: VirtualClock) -> None:
        super().__init__(folder, clock)
        self._names = Names()

    async def start(self) -> None:
        values = {**registers(PADS_AND_BAGS), (RELAY, "coil", 0): 0}
        # Another master asks for one register further on.
        values |= {(unit, "input", 2): 777 for unit in (1, 2)} | {(RELAY, "coil", 1): 0}
        self.fake = FakeBus(values, self.folder / "usb-bus")
        await self.fake.start()
        settings = RtuSettings(device=self.fake.device, parity="none", timeout_s=self.timeout_s)
        self.link = open_link("bay", settings, POINTS, OUTPUTS, self.clock)

    async def stop(self) -> None:
        await super().stop()
        self._names.give_back()

    def misbehave(self, how: str) -> None:
        fault = self.troubles[how].fault
        assert isinstance(fault, RtuFault)
        self.fake.faults = dict.fromkeys(UNITS, fault)

    def well(self) -> None:
        self.fake.faults = {}

    async def unplug(self) -> None:
        self._names.note(Path(self.fake.device))
        await self.fake.stop()
        await settle()

    async def replug(self) -> None:
        self._names.take()
        await self.fake.start()
