"""Modbus masters that others wrote, behind one face, so that each asks the same.

minimalmodbus, umodbus and modbus-tk (PyPI), and Debian's mbpoll, which stands on
libmodbus. All of them block: call them in a thread. Each does what its own library
offers for it; what that library cannot, the face does not do for it.
"""

import re
import shutil
import socket
import subprocess
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from types import ModuleType
from typing import Protocol

import minimalmodbus
import pytest
import serial
import umodbus.exceptions
from modbus_tk import exceptions as modbus_tk_exceptions
from modbus_tk import modbus, modbus_rtu, modbus_tcp
from umodbus.client import tcp
from umodbus.client.serial import rtu

from tests.unit.peers import GUARD_S, HOST, READS, UNIT

BAUD_RATE = 19200
TIMEOUT_S = 1.0
# Some wait for as many bytes as an answer without exception has, modbus-tk twice.
SHORT_TIMEOUT_S = 0.25
# Some name an exception by its words only: V1.1b3, section 7.
EXCEPTIONS = {"illegal function": 1, "illegal data address": 2, "illegal data value": 3}
_MINIMALMODBUS_ORDERS = {
    "ABCD": minimalmodbus.BYTEORDER_BIG,
    "BADC": minimalmodbus.BYTEORDER_BIG_SWAP,
    "CDAB": minimalmodbus.BYTEORDER_LITTLE_SWAP,
    "DCBA": minimalmodbus.BYTEORDER_LITTLE,
}
_MODBUS_TK_FORMATS = {"int16": ">h", "ABCD": ">f", "DCBA": "<f"}
MBPOLL = "mbpoll"
_MBPOLL_TABLES = {"coil": "0", "discrete": "1", "input": "3", "holding": "4"}


class Refusal(Exception):
    """The module answered with an exception, whose number is the first argument."""


class Master(Protocol):
    """What every one of them can do, or says that it cannot."""

    def read(self, unit: int, table: str, first: int, count: int) -> list[int]:
        """Registers without sign, or bits."""

    def number(self, unit: int, table: str, first: int, kind: str) -> float:
        """One number of kind `int16`, or a float32 of the order `kind`."""

    def write(self, unit: int, table: str, number: int, value: int) -> None:
        """One coil by function 5, or one holding register by function 6."""


MakeMaster = Callable[[str], AbstractContextManager[Master]]


@contextmanager
def minimalmodbus_rtu(device: str) -> Iterator[Master]:
    """minimalmodbus on a serial port."""
    with _port(device, SHORT_TIMEOUT_S) as port:
        yield _MinimalModbus(port)


@contextmanager
def umodbus_rtu(device: str) -> Iterator[Master]:
    """umodbus on a serial port."""
    with _port(device) as port:
        yield _Umodbus(rtu, port)


@contextmanager
def umodbus_tcp(port: str) -> Iterator[Master]:
    """umodbus over TCP."""
    with socket.create_connection((HOST, int(port)), GUARD_S) as plug:
        yield _Umodbus(tcp, plug)


@contextmanager
def modbus_tk_rtu(device: str) -> Iterator[Master]:
    """modbus-tk on a serial port."""
    master = modbus_rtu.RtuMaster(_port(device))
    master.set_timeout(SHORT_TIMEOUT_S)
    yield from _opened(master)


@contextmanager
def modbus_tk_tcp(port: str) -> Iterator[Master]:
    """modbus-tk over TCP."""
    yield from _opened(modbus_tcp.TcpMaster(HOST, int(port), TIMEOUT_S))


@contextmanager
def mbpoll_rtu(device: str) -> Iterator[Master]:
    """Debian's mbpoll on a serial port."""
    yield _Mbpoll(["-m", "rtu", "-b", str(BAUD_RATE), "-P", "none"], device)


@contextmanager
def mbpoll_tcp(port: str) -> Iterator[Master]:
    """Debian's mbpoll over TCP."""
    yield _Mbpoll(["-m", "tcp", "-p", port], HOST)


MASTERS: dict[str, dict[str, MakeMaster]] = {
    "rtu": {
        "minimalmodbus": minimalmodbus_rtu,
        "umodbus": umodbus_rtu,
        "modbus-tk": modbus_tk_rtu,
        "mbpoll": mbpoll_rtu,
    },
    "tcp": {
        "umodbus": umodbus_tcp,
        "modbus-tk": modbus_tk_tcp,
        "mbpoll": mbpoll_tcp,
    },
}


def on(*wires: str) -> pytest.MarkDecorator:
    """Runs a test with each master on these wires; skips one that is not installed."""
    missing = pytest.mark.skipif(
        shutil.which(MBPOLL) is None, reason="mbpoll is not installed; tests/run.sh does that"
    )
    each = [(wire, name) for wire in wires for name in MASTERS[wire]]
    return pytest.mark.parametrize(
        ("wire", "name"),
        [pytest.param(*one, marks=missing if MBPOLL in one else ()) for one in each],
    )


class _MinimalModbus:
    def __init__(self, port: serial.Serial) -> None:
        self._port = port

    def _unit(self, unit: int) -> minimalmodbus.Instrument:
        return minimalmodbus.Instrument(self._port, unit)

    def read(self, unit: int, table: str, first: int, count: int) -> list[int]:
        module = self._unit(unit)
        ask = module.read_bits if READS[table] <= 2 else module.read_registers
        with _refusals():
            return ask(first, count, functioncode=READS[table])

    def number(self, unit: int, table: str, first: int, kind: str) -> float:
        module, function = self._unit(unit), READS[table]
        with _refusals():
            if kind == "int16":
                return module.read_register(first, functioncode=function, signed=True)
            return module.read_float(
                first, functioncode=function, byteorder=_MINIMALMODBUS_ORDERS[kind]
            )

    def write(self, unit: int, table: str, number: int, value: int) -> None:
        module = self._unit(unit)
        with _refusals():
            if table == "coil":
                module.write_bit(number, value, functioncode=5)
            else:
                module.write_register(number, value, functioncode=6)

    def write_float(self, unit: int, number: int, value: float, order: str) -> None:
        """Two holding registers by function 16."""
        self._unit(unit).write_float(number, value, byteorder=_MINIMALMODBUS_ORDERS[order])


class _Umodbus:
    def __init__(self, wire: ModuleType, plug: object) -> None:
        self._wire = wire
        self._plug = plug

    def read(self, unit: int, table: str, first: int, count: int) -> list[int]:
        ask = {
            "coil": self._wire.read_coils,
            "discrete": self._wire.read_discrete_inputs,
            "holding": self._wire.read_holding_registers,
            "input": self._wire.read_input_registers,
        }[table]
        with _refusals():
            return list(self._wire.send_message(ask(unit, first, count), self._plug))

    def number(self, unit: int, table: str, first: int, kind: str) -> float:
        raise NotImplementedError("umodbus gives registers only")

    def write(self, unit: int, table: str, number: int, value: int) -> None:
        ask = self._wire.write_single_coil if table == "coil" else self._wire.write_single_register
        with _refusals():
            assert self._wire.send_message(ask(unit, number, value), self._plug) == value


class _ModbusTk:
    def __init__(self, master: modbus.Master) -> None:
        self._master = master

    def read(self, unit: int, table: str, first: int, count: int) -> list[int]:
        with _refusals():
            return list(self._master.execute(unit, READS[table], first, count))

    def number(self, unit: int, table: str, first: int, kind: str) -> float:
        count = 1 if kind == "int16" else 2
        with _refusals():
            (value,) = self._master.execute(
                unit, READS[table], first, count, data_format=_MODBUS_TK_FORMATS[kind]
            )
        return value

    def write(self, unit: int, table: str, number: int, value: int) -> None:
        with _refusals():
            self._master.execute(unit, 5 if table == "coil" else 6, number, output_value=value)


class _Mbpoll:
    def __init__(self, wire: Sequence[str], target: str) -> None:
        # -1: once; -0: numbers from 0, as on the wire.
        self._command = [MBPOLL, "-1", "-0", "-o", str(TIMEOUT_S), *wire]
        self._target = target

    def _run(self, unit: int, table: str, first: int, *more: str, write: str = "") -> list[str]:
        where = ["-a", str(unit), "-t", table, "-r", str(first)]
        done = subprocess.run(
            [*self._command, *where, *more, self._target, *([write] if write else [])],
            capture_output=True,
            text=True,
            timeout=GUARD_S,
            check=False,
        )
        if done.returncode:
            raise Refusal(_exception_in(done.stderr))
        if write:
            assert "Written 1 references." in done.stdout
        return re.findall(r"^\[\d+\]:\s+(.+)$", done.stdout, re.MULTILINE)

    def read(self, unit: int, table: str, first: int, count: int) -> list[int]:
        shown = self._run(unit, _MBPOLL_TABLES[table], first, "-c", str(count))
        return [int(one.split()[0]) for one in shown]

    def number(self, unit: int, table: str, first: int, kind: str) -> float:
        word = _MBPOLL_TABLES[table]
        if kind == "int16":  # shown as "65436 (-100)" where the sign matters
            (shown,) = self._run(unit, word, first)
            return int(shown.split()[-1].strip("()"))
        (shown,) = self._run(unit, f"{word}:float", first, *(["-B"] if kind == "ABCD" else []))
        return float(shown)

    def write(self, unit: int, table: str, number: int, value: int) -> None:
        self._run(unit, _MBPOLL_TABLES[table], number, write=str(value))


def write_float(device: str, number: int, value: float, order: str) -> None:
    """What minimalmodbus makes of a float in one of the four orders, into holding registers."""
    with _port(device) as port:
        _MinimalModbus(port).write_float(UNIT, number, value, order)


def _port(device: str, timeout_s: float = TIMEOUT_S) -> serial.Serial:
    return serial.Serial(device, BAUD_RATE, timeout=timeout_s)


def _opened(master: modbus.Master) -> Iterator[Master]:
    master.open()
    try:
        yield _ModbusTk(master)
    finally:
        master.close()


@contextmanager
def _refusals() -> Iterator[None]:
    """Each peer's own way of telling an exception, as one."""
    try:
        yield
    except umodbus.exceptions.ModbusError as error:
        raise Refusal(error.error_code) from error
    except modbus_tk_exceptions.ModbusError as error:
        raise Refusal(error.get_exception_code()) from error
    except minimalmodbus.SlaveReportedException as error:
        raise Refusal(_exception_in(str(error))) from error


def _exception_in(words: str) -> int:
    found = [number for name, number in EXCEPTIONS.items() if name in words.lower()]
    assert found, words
    return found[0]
