"""One serial bus: one question, its exact answer, or why not.

An answer on a serial bus does not say which question it answers, and all
modules and every other master talk on the same two wires. So:

- Before a question, what stands in the buffer is taken and looked at, and
  never answers anything; the line is quiet for 3.5 characters.
- Only a whole frame with a right checksum, unit, function and size answers.
  Noise around it is skipped. After it the line is listened to for as long; a
  second frame that would answer too spoils both. USB adapters hand bytes over
  in lumps, so a repeated answer may come later than that: a question that the
  last answer of the same module would also answer waits until it would be here.
- A module that did not answer, or only in part, or whose question was given up,
  is not asked for a value by the same function again until `late_s` after the
  question, as its late answer would pass for the new one. Answers of other
  functions cannot, so a write goes out and is read back all the same. The late
  echo of an earlier write proves that same write, unless another to the same
  place stands between them; then the echo proves nothing and is not taken.
- A whole frame that nobody here asked for means another master, or a module
  that answers twice. After a master's question nobody is believed until nothing
  like it was heard for `late_s`; after what may be an answer, the module it
  names is not. Switching off goes out all the same; switching on is refused.
  A module that says something during another's turn does not spoil that turn.
- An adapter that echoes what is sent would make each write answer itself. The
  answer to a read differs from its question, so one tells; where no read did
  since the port was opened, a write is followed by one of the same place.

What cannot be told: a module that takes longer than `late_s` (its old value is
taken, and then it is not believed, as it answers again); another master whose
question never reached us and whose answer comes within our wait, from the
module we asked, in the same size; a module that answers for another register
than it was asked; a repeated answer kept back for longer than 20 ms; whether an
answer was torn apart on the wire, as adapters hand it over in pieces anyway.

Source:
    Modbus over Serial Line V1.02, section 2.5.1.1 (silent interval: 3.5
    characters, and 1.75 ms above 19200 baud). The 16 ms after which a USB
    adapter hands over what it has: common practice, no source.
"""

import asyncio

from pymodbus.pdu import DecodePDU, ModbusPDU

from drivers.base import LinkDown
from drivers.modbus import codec, rtu_frames
from drivers.modbus.connection import (
    ConnectionLost,
    GivenUp,
    NoReply,
    NotAsked,
    NotConnected,
    Refused,
    WrongReply,
    checked,
    coil_question,
    found_in,
    read_question,
    register_question,
)
from drivers.modbus.registers import OutputSettings, RtuSettings
from drivers.modbus.rtu_bus import Bus
from drivers.serial_port import PortSettings, SerialPort

QUIET_CHARACTERS, QUIET_S_MIN = 3.5, 0.00175
LUMP_S_MAX = 0.02
HEARD_BYTES_MAX = 1024
# A write waits no longer for a line that never falls quiet: it may take heat away.
_WRITE_WAITS_S_MAX = 0.1


def quiet_s(port: PortSettings) -> float:
    """How long the line is silent between two frames, s."""
    return max(port.character_s(QUIET_CHARACTERS), QUIET_S_MIN)


class RtuConnection:
    """A serial bus; made once, used by one caller at a time, then closed.

    Attributes:
        where: the port, for messages.
    """

    def __init__(self, settings: RtuSettings, bus: Bus) -> None:
        """Nothing is opened yet.

        Args:
            settings: the port, and how long to wait.
            bus: what is known of its modules; the same for every connection to it.
        """
        self.where = settings.where()
        self._settings = settings
        self._bus = bus
        self._quiet_s = quiet_s(settings)
        self._decoder = DecodePDU(is_server=False)
        self._port: SerialPort | None = None
        self._giving_up: asyncio.Timeout | None = None
        self._stray = b""  # heard between questions, and no whole frame so far
        self._asked = b""  # the last question's frame
        self._last = (b"", b"")  # the last question that was answered, and its answer
        self._last_s = 0.0  # when the line was last not quiet
        self._has_no_echo = False

    @property
    def usable(self) -> bool:
        """The port is open and was not pulled out."""
        return self._port is not None and self._port.usable

    async def open(self) -> None:
        """Open the port, found anew by its path or its adapter's serial number.

        Raises:
            NotConnected: not there, or in use.
        """
        try:
            self._port = SerialPort(self._settings)
        except LinkDown as error:
            raise NotConnected(str(error)) from error
        self._last_s = _now_s()

    async def read(self, request: codec.Request) -> tuple[int, ...]:
        """Ask for registers or bits.

        Args:
            request: what to read.

        Returns:
            Shape (request.count,): registers 0 to 65535, or bits 0 or 1.

        Raises:
            NoReply: the unit kept silent; `NotAsked` if before, and it may still answer.
            ConnectionLost: the port went away.
            GivenUp: `give_up` was called meanwhile.
            Refused: the module answered with an exception.
            WrongReply: the answer is not the answer to this request, or none would
                be believed.
        """
        question, about = read_question(request)
        return found_in(await self._exchange(question, about), request)

    async def write(self, output: OutputSettings, *, on: bool) -> None:
        """Write one coil; returns when the module has echoed it.

        Raises:
            As `read`; a `WrongReply` for switching on where nobody is believed
            comes before anything was sent.
        """
        question, about = coil_question(output, on=on)
        place = codec.Request(output.unit, "coil", output.number, 1, ())
        await self._write(question, about, place)

    async def write_register(self, unit: int, number: int, value: int) -> None:
        """Write one holding register; returns when the module has echoed it.

        Raises:
            As `read`.
        """
        question, about = register_question(unit, number, value)
        await self._write(question, about, codec.Request(unit, "holding", number, 1, ()))

    def give_up(self) -> None:
        """End the exchange under way, if any, with `GivenUp`."""
        if self._giving_up is not None and not self._giving_up.expired():
            self._giving_up.reschedule(_now_s())

    def close(self) -> None:
        """Close; twice is no error, and a question under way ends at once."""
        if self._port is not None:
            self._port.close()

    async def _write(self, question: ModbusPDU, about: str, place: codec.Request) -> None:
        doubtful = self._bus.is_doubtful(question.dev_id, _body(question))
        await self._exchange(question, about)
        if doubtful:
            raise WrongReply(
                f"{self.where}, {about}: the echo may be that of an earlier write; read it back"
            )
        if not self._has_no_echo:
            try:
                await self._exchange(*read_question(place))
            except Refused:  # which is no echo
                return

    async def _exchange(self, question: ModbusPDU, about: str) -> ModbusPDU:
        where = f"{self.where}, {about}"
        try:
            async with asyncio.timeout(None) as self._giving_up:
                answer = await self._answer(question, where)
        except TimeoutError:
            raise GivenUp(f"{where}: gave way to a write") from None
        finally:
            self._giving_up = None
        return checked(answer, where)

    async def _answer(self, question: ModbusPDU, where: str) -> ModbusPDU:
        port, unit, body = self._port, question.dev_id, _body(question)
        if port is None or not port.usable:
            raise ConnectionLost(f"{where}: {port.lost if port else 'not open'}")
        frame = rtu_frames.framed(unit, body)
        reading = body[0] not in codec.WRITES
        self._overhear(port)
        self._check_may_ask(unit, body, where)
        await self._wait_for_quiet(port, frame, where)
        self._check_may_ask(unit, body, where)  # again: more may have come
        owing = self._bus.owing()
        self._bus.asked(unit, body)
        self._asked = frame
        await self._send(port, frame, where)
        heard = await self._listen(port, frame, owing, where)
        if heard.answer or heard.damaged:
            self._bus.answered(unit)
        if not heard.answer:
            raise self._why_none(heard, where)
        self._has_no_echo |= reading or heard.answer[0] != body[0]
        self._last = frame, heard.answer
        answer = self._decoder.decode(heard.answer)
        if answer is None:
            raise WrongReply(f"{where}: the answer cannot be decoded")
        return answer

    async def _wait_for_quiet(self, port: SerialPort, frame: bytes, where: str) -> None:
        """Look at what is heard until it is this question's turn."""
        reading = frame[1] not in codec.WRITES
        quiet_for_s = LUMP_S_MAX if reading and self._repeats(frame) else self._quiet_s
        end_s = _now_s() + (self._settings.timeout_s if reading else _WRITE_WAITS_S_MAX)
        while (left_s := self._last_s + quiet_for_s - _now_s()) > 0:
            if not await _came(port, left_s):
                return
            self._overhear(port)
            if not port.usable:
                raise ConnectionLost(f"{where}: {port.lost}")
            if _now_s() > end_s:
                if reading:
                    raise WrongReply(f"{where}: the line is never quiet; {rtu_frames.STRANGER}")
                return

    def _repeats(self, frame: bytes) -> bool:
        """Whether the last answer, come again, would pass for that to another question."""
        question, answer = self._last
        if question[:1] != frame[:1] or question == frame:
            return False
        return not codec.body_fault(rtu_frames.body_of(frame), answer)

    def _overhear(self, port: SerialPort) -> None:
        taken = port.take()
        if taken:
            self._last_s = _now_s()
            frames, between = rtu_frames.frames_in((self._stray + taken)[-HEARD_BYTES_MAX:])
            self._stray = between[-1]
            for frame in frames:
                # An adapter's echo will show in the next answer; here it is no other master.
                if self._has_no_echo or frame != self._asked:
                    self._bus.overheard(frame)
        self._bus.listened()

    def _check_may_ask(self, unit: int, body: bytes, where: str) -> None:
        if body[0] in codec.WRITES and not codec.switches_on(body):
            return
        why = self._bus.why_not_believe(unit)
        if why:
            raise WrongReply(f"{where}: not asked, {why}")
        if body[0] in codec.WRITES:
            return
        why = self._bus.why_not_ask(unit, body)
        if why:
            raise NotAsked(f"{where}: {why}")

    async def _send(self, port: SerialPort, frame: bytes, where: str) -> None:
        try:
            async with asyncio.timeout(self._settings.timeout_s):
                await port.write(frame)
        except LinkDown as error:
            raise ConnectionLost(str(error)) from error
        except TimeoutError:
            port.close()
            raise ConnectionLost(f"{where}: the port takes nothing; check the adapter") from None
        self._last_s = _now_s()

    async def _listen(
        self, port: SerialPort, frame: bytes, owing: set[int], where: str
    ) -> rtu_frames.Heard:
        """All that comes until the answer is there and the line quiet, or the time is over."""
        sent_s = _now_s() + self._settings.character_s(len(frame))
        end_s = sent_s + self._settings.timeout_s
        data, heard = b"", rtu_frames.Heard(silent=True)
        try:
            while await _came(port, self._quiet_s if heard.settled else end_s - _now_s()):
                if _now_s() > end_s + self._settings.timeout_s:
                    return rtu_frames.Heard(fault="the line is never quiet")
                data = (data + port.take())[-HEARD_BYTES_MAX:]
                self._last_s = _now_s()
                if not port.usable:
                    raise ConnectionLost(f"{where}: {port.lost}")
                heard = rtu_frames.hear(frame, data, owing)
            return heard
        finally:  # also when the wait is given up or cancelled
            self._stray = rtu_frames.frames_in(data)[1][-1]
            for stranger in heard.strangers:
                self._bus.overheard(stranger)

    def _why_none(self, heard: rtu_frames.Heard, where: str) -> NoReply | WrongReply:
        if heard.fault:
            return WrongReply(f"{where}: {heard.fault}")
        if heard.damaged:
            return WrongReply(
                f"{where}: the answer's checksum is wrong; check wiring, screen and termination"
            )
        if heard.instead:
            return WrongReply(f"{where}: {heard.instead}")
        if not heard.silent:
            return WrongReply(f"{where}: only part of an answer came, or noise")
        return NoReply(
            f"{where}: no answer within {self._settings.timeout_s:g} s; check the unit's power, "
            "wiring, address and baud rate"
        )


def _body(question: ModbusPDU) -> bytes:
    return bytes((question.function_code,)) + bytes(question.encode())


async def _came(port: SerialPort, within_s: float) -> bool:
    """Whether something came over the port, or it was lost, within a time."""
    try:
        async with asyncio.timeout(within_s):
            await port.came()
    except TimeoutError:
        return False
    return True


def _now_s() -> float:
    return asyncio.get_running_loop().time()
