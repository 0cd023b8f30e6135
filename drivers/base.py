"""What every driver and link shares: samples, points, the clock and the errors.

Drivers know nothing of rigs or hazards. A link owns a port or a socket and
keeps the newest sample of each point it was asked to watch; whoever wants a
value reads the snapshot, which never waits.
"""

from collections.abc import Callable, Hashable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from pydantic import BaseModel


class DriverError(Exception):
    """Base of the errors a driver raises; each says who can act."""


class LinkDown(DriverError):
    """No connection: maintenance looks at cable, power and port."""


class BadReply(DriverError):
    """An answer that is not the answer: wrong unit, map or noise."""


class DeviceClosed(DriverError):
    """We closed it and went on using it: a fault of this program."""


@dataclass(frozen=True, slots=True)
class Sample:
    """The newest answer for one point.

    Attributes:
        value: scaled to the point's unit; a switch is 0.0 or 1.0; None when
            nothing usable came. Never the last good value.
        quality: `good`, `uncertain` or `bad`.
        reason: empty when good, else one word for why: `never_read`,
            `no_reply`, `link_down`, `bad_reply`, `refused` (of the link), or
            `open_circuit`, `short_circuit`, `below_range`, `above_range`,
            `not_a_number`, `missing`, `cold_junction`, `failure`,
            `check_function`, `out_of_specification` (of the instrument).
            `maintenance_required` is the one reason of a good value.
        at_ns: `Clock.now_ns` at which an answer for this point last came; for
            the link reasons that is the last answer before the silence.
        raw: the registers or bits as they came, for maintenance.
    """

    value: float | None
    quality: str
    reason: str
    at_ns: int
    raw: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class LinkStatistics:
    """Counts since the link was opened, for `curehold check` and maintenance."""

    polls: int = 0
    requests: int = 0
    failures: int = 0
    reconnects: int = 0
    writes: int = 0
    write_failures: int = 0


class Clock(Protocol):
    """The only source of now and the only way to wait."""

    def now_ns(self) -> int:
        """Monotonic time, ns, the same base as `Frame.t_ns`."""

    def wall_ns(self) -> int:
        """Wall time since 1970, ns."""

    async def sleep_until(self, t_ns: int) -> None:
        """Return when `now_ns()` has reached `t_ns`."""


class Link(Protocol):
    """One port or socket, its polling task and the samples it keeps.

    `run` is one task that lives as long as the link. `snapshot` and `renew`
    never wait. A failed poll never raises out of `run`: it becomes a sample
    with a reason.
    """

    name: str

    async def run(self) -> None:
        """Poll for ever, connecting and reconnecting; leaves when cancelled."""

    async def poll_once(self) -> None:
        """Read every point once; for `curehold check`."""

    def snapshot(self) -> Mapping[str, Sample]:
        """The newest sample by point name; all configured points have a key."""

    async def write(self, point: str, *, on: bool) -> None:
        """Write one output now, before any queued read.

        Raises:
            LinkDown: no connection, or no answer.
            BadReply: the module refused or answered something else.
            DeviceClosed: the link was closed.
        """

    def renew(self, token: str) -> None:
        """Say that the owner of `token` is alive; see the link's `hold_s`."""

    def remarks(self) -> list[str]:
        """What is wrong now and no sample can say, each with what to do; for `curehold check`."""

    def statistics(self) -> LinkStatistics:
        """Counts since opening."""

    async def close(self) -> None:
        """Close the port; twice is no error."""


Point = Any  # a kind's own model of where a value is read; only the kind looks inside
Output = Any  # the same, of what is written
Settings = Any  # the same, of how the link is reached


@dataclass(frozen=True, slots=True)
class LinkKind:
    """One kind of link, as a configuration may name it; its package lists it in `KINDS`.

    Attributes:
        name: the word for `kind` in a configuration.
        title: for people.
        settings: model of a link's own table.
        point: model of where one value is read.
        output: model of what is written, with the key `token` for whose life
            keeps it on; None for a kind that only reads.
        open: `open(name, settings, points, outputs, clock)`, the link itself.
        address: what two links of one configuration may not share.
        place: where a point or output is, in a few words.
        claims: what a point or output takes for itself on the link, so that
            two that claim the same are found; empty when sharing is harmless.
        fill_in: `fill_in(link, entry, folder)` gives a point's or output's table
            with what a description of the module adds; raises ValueError with
            words for whoever wrote it. All three are as read, `folder` holds the
            configuration.
        fill_in_link: `fill_in_link(link, folder)`, the same for the link's own table.
        faults: what is wrong with a link's settings, points and outputs together,
            in words.
    """

    name: str
    title: str
    settings: type[BaseModel]
    point: type[BaseModel]
    output: type[BaseModel] | None
    open: Callable[
        [str, Settings, Mapping[str, Point], Mapping[str, Output], Clock],
        Link,
    ]
    address: Callable[[Settings], Hashable]
    place: Callable[[Point | Output], str]
    claims: Callable[[Point | Output], Iterable[Hashable]]
    fill_in: Callable[[Mapping[str, Any], Mapping[str, Any], Path], dict[str, Any]]
    fill_in_link: Callable[[Mapping[str, Any], Path], dict[str, Any]]
    faults: Callable[[Settings, Mapping[str, Point], Mapping[str, Output]], Iterable[str]]
