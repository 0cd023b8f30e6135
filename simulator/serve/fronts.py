"""Which wires the rigs are served on, opened together and closed together."""

from collections.abc import Callable, Sequence
from contextlib import AsyncExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, get_args

from simulator.plant import Rig
from simulator.serve.base import ServeError
from simulator.serve.board import KEYS, Form
from simulator.serve.later import Later, PlantLater, RealLater
from simulator.serve.lines import LinesFront
from simulator.serve.modbus import ModbusFront, RtuFront
from simulator.wire import MODULE_NAMES

Kind = Literal["tcp", "rtu", "lines", "lines_csv"]
KINDS: tuple[Kind, ...] = get_args(Kind)
FORMS: dict[Kind, Form] = {"lines": Form.KEY_VALUE, "lines_csv": Form.CSV}
PORT_MAX = 65535


@dataclass(frozen=True, slots=True)
class Wanted:
    """One wire as asked for.

    Attributes:
        kind: `tcp`, `rtu`, `lines` or `lines_csv`.
        port: of `tcp`; 0 picks one.
        link: of the others: where a symbolic link to the port is made; for `lines`
            that of the first rig's board, the second's has `-2` behind it.
    """

    kind: Kind
    port: int = 0
    link: Path | None = None


def read_wanted(text: str) -> Wanted:
    """A wire as typed: `tcp`, `tcp:5020`, `rtu:/tmp/bus`, `lines:/tmp/board`, `lines_csv`.

    Raises:
        ValueError: it is none of these.
    """
    name, _, where = text.partition(":")
    kind = next((kind for kind in KINDS if kind == name), None)
    if kind is None:
        raise ValueError(f"wire {text!r} is none of {', '.join(KINDS)}")
    if kind != "tcp":
        return Wanted(kind, link=Path(where) if where else None)
    if where and not (where.isdecimal() and int(where) <= PORT_MAX):
        raise ValueError(f"wire {text!r}: the port is a number up to {PORT_MAX}, 0 picks one")
    return Wanted(kind, port=int(where or 0))


class Fronts:
    """All wires of the rigs; made by `open_fronts`."""

    def __init__(self, rigs: list[Rig], new_later: Callable[[], Later]) -> None:
        self._rigs = rigs
        self._new_later = new_later
        self._laters: list[Later] = []
        self._told: dict[str, object] = {}
        self._ends = AsyncExitStack()

    def told(self) -> dict[str, object]:
        """Where to connect, for the ready line.

        Returns:
            Those that are served of `modbus_port`, a number, `rtu_device`, a path,
            and `lines_devices`, a path for each rig; with `lines_csv` also
            `lines_columns`, for the daemon's configuration.
        """
        return dict(self._told)

    def moved(self) -> None:
        """The plant has moved by a step: in lockstep, what the wires do later comes due."""
        for later in self._laters:
            later.moved()

    async def close(self) -> None:
        """Close all of them; twice is no error."""
        await self._ends.aclose()

    async def add(self, wanted: Wanted) -> None:
        """Open one more.

        Raises:
            ServeError: its port or link cannot be had.
        """
        if wanted.kind == "tcp":
            await self.add_tcp(wanted.port, MODULE_NAMES)
        elif wanted.kind == "rtu":
            bus = RtuFront(self._rigs, wanted.link, later=self._later())
            self._ends.push_async_callback(bus.close)
            self._told["rtu_device"] = bus.open()
        else:
            boards = [
                self._board(number, _link_of(wanted.link, number), FORMS[wanted.kind])
                for number in range(len(self._rigs))
            ]
            self._told["lines_devices"] = [board.open() for board in boards]
            if wanted.kind == "lines_csv":
                self._told["lines_columns"] = list(KEYS)

    async def add_tcp(self, port: int, served: Sequence[str]) -> None:
        """Open a Modbus TCP port with some of the modules.

        Raises:
            ServeError: the port cannot be had.
        """
        front = ModbusFront(self._rigs, served=served, later=self._later())
        self._ends.push_async_callback(front.close)
        self._told["modbus_port"] = await front.open(port)

    def _board(self, number: int, link: Path | None, form: Form) -> LinesFront:
        board = LinesFront(self._rigs[number], link, form=form, later=self._later())
        self._ends.push_async_callback(board.close)
        return board

    def _later(self) -> Later:
        later = self._new_later()
        self._laters.append(later)
        return later


async def open_fronts(
    rigs: list[Rig], wanted: Sequence[Wanted], now_s: Callable[[], float] | None = None
) -> Fronts:
    """Serve the rigs on all the wires wanted, in a running event loop.

    Lines only tell. With neither TCP nor RTU beside them the relays module, and no
    other, is served over TCP on a port that is picked.

    Args:
        rigs: to serve.
        wanted: the wires, each kind once; `lines` and `lines_csv` are one kind.
        now_s: the plant's time, s, in lockstep, where what wires do later goes by it
            and `moved` must be called after each step; else None, for real time.

    Returns:
        The wires; close them when done.

    Raises:
        ServeError: a port or a link cannot be had, or a kind is wanted twice; none
            is open then.
    """
    kinds = ["lines" if one.kind in FORMS else one.kind for one in wanted]
    if len(set(kinds)) < len(kinds):
        raise ServeError(f"wires {', '.join(kinds)}: ask for each kind once")
    fronts = Fronts(rigs, RealLater if now_s is None else lambda: PlantLater(now_s))
    try:
        for one in wanted:
            await fronts.add(one)
        if kinds == ["lines"]:
            await fronts.add_tcp(0, ("relays",))
    except ServeError:
        await fronts.close()
        raise
    return fronts


def _link_of(link: Path | None, number: int) -> Path | None:
    if link is None or number == 0:
        return link
    return link.with_name(f"{link.name}-{number + 1}")
