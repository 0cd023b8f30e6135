"""One TCP connection to a Modbus server: one question, its exact answer, or why not.

pymodbus connects, numbers and encodes. Its framer lets pass what must not
reach a reading (transaction 0, a wrong count, bytes beyond the data) and is
replaced by one that knows the question. Nothing is retried here.
"""

from pymodbus.client import AsyncModbusTcpClient
from pymodbus.exceptions import ModbusException
from pymodbus.framer import FramerSocket
from pymodbus.pdu import DecodePDU, ModbusPDU

from drivers.cancelling import pass_on_cancellation
from drivers.modbus import codec
from drivers.modbus.connection import (
    ConnectionLost,
    ExchangeError,
    GivenUp,
    NoReply,
    NotConnected,
    WrongReply,
    checked,
    coil_question,
    found_in,
    read_question,
    register_question,
)
from drivers.modbus.registers import OutputSettings, TcpSettings

# What one read of the socket may bring; our framer leaves no more than a frame.
_RECEIVED_MAX = 1 << 20
_NEVER = 1 << 62


class _NoAnswer(ModbusPDU):
    """Ends the wait for an answer with an error instead of one."""

    def __init__(self, asked: bytes, error: ExchangeError) -> None:
        header = asked or bytes(codec.HEADER_BYTES)
        super().__init__(dev_id=header[6], transaction_id=int.from_bytes(header[:2], "big"))
        self.error = error


class _ExactFramer(FramerSocket):
    """Remembers the question sent and lets pass only what answers it."""

    def __init__(self) -> None:
        super().__init__(DecodePDU(is_server=False))
        self.asked = b""
        self.in_step = True

    def buildFrame(self, message: ModbusPDU) -> bytes:  # noqa: N802 - pymodbus names it
        self.asked = super().buildFrame(message)
        return self.asked

    def handleFrame(  # noqa: N802 - pymodbus names it
        self, data: bytes, exp_devid: int, exp_tid: int
    ) -> tuple[int, ModbusPDU | None]:
        used = 0
        while True:
            try:
                frame = codec.first_frame(data[used:])
            except codec.GarbledError as error:
                self.in_step = False
                return len(data), _NoAnswer(self.asked, WrongReply(str(error)))
            if frame is None:
                return used, None
            used += len(frame)
            # The late answer to an earlier question must not answer this one.
            if codec.same_transaction(self.asked, frame):
                return used, self._answer(frame)

    def _answer(self, frame: bytes) -> ModbusPDU:
        fault = codec.reply_fault(self.asked, frame)
        answer = None if fault else self.decoder.decode(frame[codec.HEADER_BYTES :])
        if answer is None:
            return _NoAnswer(self.asked, WrongReply(fault or "the answer cannot be decoded"))
        answer.dev_id = frame[6]
        answer.transaction_id = int.from_bytes(frame[:2], "big")
        return answer


class TcpConnection:
    """A connection; made once, used by one caller at a time, then closed.

    Attributes:
        where: `host:port`, for messages.
    """

    def __init__(self, settings: TcpSettings) -> None:
        self.where = f"{settings.host}:{settings.port}"
        self._timeout_s = settings.timeout_s
        self._framer = _ExactFramer()
        self._client = AsyncModbusTcpClient(
            settings.host,
            port=settings.port,
            timeout=settings.timeout_s,
            retries=0,
            reconnect_delay=0,
            trace_connect=self._changed,
        )
        self._client.ctx.framer = self._framer
        self._client.ctx.max_buffer_size = _RECEIVED_MAX
        # pymodbus would count silences and close by itself; that policy is the link's.
        self._client.set_max_no_responses(_NEVER)

    @property
    def usable(self) -> bool:
        """Connected, and the next bytes to come begin a frame."""
        whole = self._framer.in_step and not self._client.ctx.recv_buffer
        return self._client.connected and whole

    async def open(self) -> None:
        """Connect.

        Raises:
            NotConnected: nobody there, or not within the time-out.
        """
        if not await self._client.connect():
            raise NotConnected(
                f"{self.where}: no connection within {self._timeout_s:g} s; check cable, power, "
                "address and port"
            )

    async def read(self, request: codec.Request) -> tuple[int, ...]:
        """Ask for registers or bits.

        Args:
            request: what to read.

        Returns:
            Shape (request.count,): registers 0 to 65535, or bits 0 or 1.

        Raises:
            NoReply: the unit kept silent.
            ConnectionLost: the connection went away.
            GivenUp: `give_up` was called meanwhile.
            Refused: the module answered with an exception.
            WrongReply: the answer is not the answer to this request.
        """
        question, about = read_question(request)
        return found_in(await self._exchange(question, about), request)

    async def write(self, output: OutputSettings, *, on: bool) -> None:
        """Write one coil; returns when the module has echoed it.

        Raises:
            As `read`.
        """
        await self._exchange(*coil_question(output, on=on))

    async def write_register(self, unit: int, number: int, value: int) -> None:
        """Write one holding register; returns when the module has echoed it.

        Raises:
            As `read`.
        """
        await self._exchange(*register_question(unit, number, value))

    def give_up(self) -> None:
        """End the wait for the answer under way, if any, with `GivenUp`."""
        self._end_wait(GivenUp("gave way to a write"))

    def close(self) -> None:
        """Close; twice is no error, and a question under way ends at once."""
        self._end_wait(ConnectionLost("closed by us"))
        self._client.close()

    async def _exchange(self, question: ModbusPDU, about: str) -> ModbusPDU:
        where = f"{self.where}, {about}"
        try:
            answer: ModbusPDU = await self._client.execute(
                no_response_expected=False, request=question
            )
        except ModbusException as error:
            raise self._silence(where) from error
        pass_on_cancellation()
        if isinstance(answer, _NoAnswer):
            raise type(answer.error)(f"{where}: {answer.error}")
        return checked(answer, where)

    def _silence(self, where: str) -> ExchangeError:
        if not self._client.connected:
            return ConnectionLost(f"{where}: not connected")
        if self._client.ctx.recv_buffer:
            return WrongReply(f"{where}: only part of an answer came")
        return NoReply(
            f"{where}: no answer within {self._timeout_s:g} s; check the unit's power, wiring and "
            "address"
        )

    def _changed(self, connected: bool) -> None:  # noqa: FBT001 - pymodbus calls it so
        if not connected:
            self._end_wait(ConnectionLost("the other side closed the connection"))

    def _end_wait(self, error: ExchangeError) -> None:
        waiting = self._client.ctx.response_future
        if not waiting.done():
            waiting.set_result(_NoAnswer(self._framer.asked, error))
