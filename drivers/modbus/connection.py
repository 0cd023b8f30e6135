"""What every wire of Modbus gives the link: one question, its exact answer, or why not.

Nothing is retried at this level, and nothing is believed that does not answer
the question.
"""

from typing import ClassVar, Final, Protocol

from pymodbus.pdu import ModbusPDU
from pymodbus.pdu.bit_message import (
    ReadCoilsRequest,
    ReadDiscreteInputsRequest,
    WriteSingleCoilRequest,
)
from pymodbus.pdu.register_message import (
    ReadHoldingRegistersRequest,
    ReadInputRegistersRequest,
    WriteSingleRegisterRequest,
)

from drivers.base import BadReply, DriverError, LinkDown
from drivers.modbus.codec import Request
from drivers.modbus.registers import BIT_TABLES, OutputSettings, Table

READS: Final[dict[Table, type[ModbusPDU]]] = {
    "coil": ReadCoilsRequest,
    "discrete": ReadDiscreteInputsRequest,
    "holding": ReadHoldingRegistersRequest,
    "input": ReadInputRegistersRequest,
}
# A gateway says so when the unit behind it kept silent (V1.1b3, section 7).
TARGET_SILENT = 0x0B


class Connection(Protocol):
    """A way to the modules; made once, used by one caller at a time, then closed."""

    @property
    def usable(self) -> bool:
        """Connected, and in step with the other side."""

    async def open(self) -> None:
        """Connect.

        Raises:
            NotConnected: nobody there.
        """

    async def read(self, request: Request) -> tuple[int, ...]:
        """Ask for registers or bits; shape (request.count,).

        Raises:
            ExchangeError: there is no usable answer, and why.
        """

    async def write(self, output: OutputSettings, *, on: bool) -> None:
        """Write one coil; returns when the module has echoed it.

        Raises:
            ExchangeError: as `read`.
        """

    async def write_register(self, unit: int, number: int, value: int) -> None:
        """Write one holding register; returns when the module has echoed it.

        Raises:
            ExchangeError: as `read`.
        """

    def give_up(self) -> None:
        """End the wait for the answer under way, if any, with `GivenUp`."""

    def close(self) -> None:
        """Close; twice is no error, and a question under way ends at once."""


class ExchangeError(DriverError):
    """Why a question has no usable answer.

    Attributes:
        reason: as in `Sample.reason`.
    """

    reason: ClassVar[str] = ""


class NotConnected(ExchangeError, LinkDown):
    """No connection could be made."""

    reason = "link_down"


class ConnectionLost(ExchangeError, LinkDown):
    """The connection went away while we waited."""

    reason = "link_down"


class NoReply(ExchangeError, LinkDown):
    """The unit kept silent."""

    reason = "no_reply"


class NotAsked(NoReply):
    """The unit kept silent before and may still answer, so nothing was asked now."""


class GivenUp(ExchangeError, LinkDown):
    """We let go of the question, for something more urgent; says nothing of the unit."""


class Refused(ExchangeError, BadReply):
    """The module answered with an exception."""

    reason = "refused"


class WrongReply(ExchangeError, BadReply):
    """An answer came and is not the answer."""

    reason = "bad_reply"


def read_question(request: Request) -> tuple[ModbusPDU, str]:
    """The question for a read, and what it is about, in words."""
    kind = READS[request.table]
    about = f"unit {request.unit}, {request.table} {request.register} (+{request.count})"
    return kind(address=request.register, count=request.count, dev_id=request.unit), about


def coil_question(output: OutputSettings, *, on: bool) -> tuple[ModbusPDU, str]:
    """The question that writes one coil, and what it is about, in words."""
    about = f"unit {output.unit}, coil {output.number}, write {'on' if on else 'off'}"
    question = WriteSingleCoilRequest(address=output.number, bits=[on], dev_id=output.unit)
    return question, about


def register_question(unit: int, number: int, value: int) -> tuple[ModbusPDU, str]:
    """The question that writes one holding register, and what it is about, in words."""
    about = f"unit {unit}, holding {number}, write {value}"
    return WriteSingleRegisterRequest(address=number, registers=[value], dev_id=unit), about


def found_in(answer: ModbusPDU, request: Request) -> tuple[int, ...]:
    """What an answer to a read holds: registers 0 to 65535, or bits 0 or 1."""
    found = answer.bits if request.table in BIT_TABLES else answer.registers
    return tuple(int(one) for one in found[: request.count])


def checked(answer: ModbusPDU, where: str) -> ModbusPDU:
    """The answer, if it is no exception.

    Raises:
        NoReply: a gateway says that the unit behind it kept silent.
        Refused: the module says no.
    """
    if not answer.isError():
        return answer
    if answer.exception_code == TARGET_SILENT:
        raise NoReply(f"{where}: the gateway had no answer from the unit; check its power")
    raise Refused(
        f"{where}: refused with exception {answer.exception_code}; compare with the "
        "module's register map"
    )
