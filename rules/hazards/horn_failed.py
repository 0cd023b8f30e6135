"""The horn is asked to sound and is not heard.

Hazard:
    A call to stand clear goes unheard. Nothing breaks by it, but the next thing
    that does finds nobody warned.
Standard:
    A warning signal is tried before it is relied upon: common practice, no source.
    Times are common practice, no source.
Limits:
    `deaf_s`, how long the horn's relay may be on, counted over its blasts, with
    nothing heard; `sounds_s`, how long something may be heard with the relay off;
    `test_s`, how long it chirps after heat was allowed, at most.
Trips when:
    Never. It warns when the relay has read back on for 2 s in all since the horn
    was last heard; when it never came on during a test; and when the horn has been
    heard for 10 s though the relay is off. So that it is tried before it is needed,
    the horn chirps after each press of start that allowed heat, until it is heard:
    a prompt, which also says that heat may now be on.
Clears when:
    The horn is heard when asked, and silent when not.
When data is missing:
    No horn, or nothing that hears it, fitted: not judged, and no test. What cannot
    be read keeps what stood.
Not covered:
    Whether a person hears it. A horn that falls silent between two calls: nobody
    tries it without a cause.
"""

from dataclasses import dataclass

from pydantic import BaseModel, Field

from rules.events import Horn, Level
from rules.facts import STRICT
from rules.frame import Quality
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row, Urgency
from rules.hazards.common import began_ns, lasted_s
from rules.view import View

OUTPUT = "horn"
EAR = "horn_heard"
# Nothing depends on it while all is well.
GO_BY_S = 1800.0


class Limits(BaseModel):
    """Limits of `horn.failed`; what each is for stands above."""

    model_config = STRICT

    deaf_s: float = Field(default=2.0, gt=0, le=60)
    sounds_s: float = Field(default=10.0, gt=0, le=600)
    test_s: float = Field(default=31.0, ge=0, le=120)


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered.

    Attributes:
        granted_ns: process time of the last grant of heat that was tried, ns.
        test_ns: since when it is being tried, ns; None when it is not.
        relay_on: the relay came on in this test.
        deaf_s: how long the relay has been on since the horn was last heard, s.
        sounds_ns: since when it is heard with its relay off, ns.
        failed: what is wrong, in words; empty when nothing is.
    """

    granted_ns: int = 0
    test_ns: int | None = None
    relay_on: bool = False
    deaf_s: float = 0.0
    sounds_ns: int | None = None
    failed: str = ""


REST = Memory()

ROW = Row(
    tag="horn.failed",
    title="the horn does not sound",
    consequence="a call to stand clear goes unheard",
    priority=Priority.LOW,
    warn_do="KEEP AIR ON. Stay near the rig; mend the horn.",
    trip_do="",
    warn_urgency=Urgency.GO_BY,
    causes=("its wire or fuse", "the relay's contact", "the horn itself", "what hears it"),
    time_available="none is lost by itself; the next trouble is not heard",
    rescue="Repair safe so far.",
)


def judge(limits: Limits, memory: Memory, view: View) -> tuple[Memory, Finding]:
    """Judge one frame.

    Args:
        limits: of this hazard.
        memory: what was remembered.
        view: the frame.

    Source:
        Module docstring.
    """
    frame = view.frame
    if EAR not in frame.values or OUTPUT not in frame.readback:
        return REST, NOT_JUDGED
    relay, ear = frame.readback[OUTPUT], frame.values[EAR]
    heard = False if ear.value == 0.0 and ear.quality is Quality.GOOD else view.is_on(EAR)
    asked = view.permit_granted and view.permit_since_ns != memory.granted_ns
    busy = memory.test_ns is not None or memory.deaf_s > 0.0 or memory.sounds_ns is not None
    if relay is False and heard is False and not (asked or busy or memory.failed):
        return memory, CLEAR
    memory = _after(limits, memory, view, asked=asked, relay=relay, heard=heard)
    if memory.failed:
        return memory, Finding(Level.WARN, memory.failed, go_by_s=GO_BY_S)
    if memory.test_ns is not None:
        return memory, Finding(
            Level.PROMPT, "heat may be on; the horn is tried", Horn.COME_WHEN_YOU_CAN
        )
    return memory, NOT_JUDGED if relay is None or heard is None else CLEAR


def _after(
    limits: Limits,
    memory: Memory,
    view: View,
    *,
    asked: bool,
    relay: bool | None,
    heard: bool | None,
) -> Memory:
    granted_ns = view.permit_since_ns if asked else memory.granted_ns
    test_ns = view.now_ns if asked else memory.test_ns
    relay_on = relay is True or (memory.relay_on and not asked)
    deaf_s = memory.deaf_s + (view.dt_s if relay and heard is False else 0.0)
    sounds_ns = memory.sounds_ns
    if relay is not None and heard is not None:
        sounds_ns = began_ns(view, memory.sounds_ns, holds=heard and not relay)
    failed = memory.failed
    if heard and relay is not None:
        deaf_s = 0.0
        test_ns = None
        failed = "" if relay else failed
    failed = _failed(limits, view, failed, test_ns, deaf_s, sounds_ns, relay_on=relay_on)
    if failed.startswith("it sounds") and heard is False:
        failed = ""
    if failed or lasted_s(view, test_ns) >= limits.test_s:
        test_ns = None
    after = Memory(granted_ns, test_ns, relay_on, deaf_s, sounds_ns, failed)
    return memory if after == memory else after


def _failed(
    limits: Limits,
    view: View,
    was: str,
    test_ns: int | None,
    deaf_s: float,
    sounds_ns: int | None,
    *,
    relay_on: bool,
) -> str:
    if deaf_s >= limits.deaf_s:
        return "its relay is on and nothing is heard"
    if lasted_s(view, sounds_ns) >= limits.sounds_s:
        return "it sounds though nobody asked"
    if lasted_s(view, test_ns) >= limits.test_s and not relay_on:
        return "its relay does not come on"
    return was
