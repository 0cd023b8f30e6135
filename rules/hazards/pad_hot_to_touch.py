"""Pads are hot to touch where people work with them.

Hazard:
    Hands are burnt: by pads carried from the preheat, lying about on a bench, or
    taken off after the let-down. Cool enough to open is not cool enough to touch.
Standard:
    ISO 13732-1 burn thresholds, from memory: 48 C for ten minutes of contact, 51 C
    for one, bare metal of 65 C for a second.
Limits:
    `hot_c`; `burns_c`, 2 C short of where a touch burns, asked once more;
    `cool_c`, below which it is over, and `clear_after_s`.
Trips when:
    Never. The amber lamp lights, with a prompt and no horn, while a pad is above
    48 C and people have their hands near it: before mounting, from the let-down
    on, and when nothing is going on. Asks again above 63 C.
Clears when:
    Every pad that can be read is below 45 C for 60 s; the bags are being filled.
When data is missing:
    A pad that cannot be read, or is unplugged, is as hot as it was: the lamp stays
    on until a pad is read cool or the work goes on. No pad was read: not judged.
Not covered:
    Clamp, leads and rubber, which are hot longer than the pads. Pads are preheated
    to 50 to 70 C on purpose, so this is no alarm: wear gloves.
"""

from dataclasses import dataclass
from typing import Self

from pydantic import BaseModel, Field, model_validator

from rules.channels import PADS
from rules.events import Horn, Level
from rules.facts import STRICT, must_rise
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row, Urgency
from rules.hazards.common import QUIET, Standing, stand
from rules.phases import Phase
from rules.view import View

HANDS_OFF = frozenset({Phase.INFLATION, Phase.HEAT_UP, Phase.CURE, Phase.COOL_DOWN})


class Limits(BaseModel):
    """Limits of `pad.hot_to_touch`; what each is for stands above."""

    model_config = STRICT

    hot_c: float = Field(default=48.0, ge=40, le=60)
    burns_c: float = Field(default=63.0, ge=50, le=80)
    cool_c: float = Field(default=45.0, ge=35, le=60)
    clear_after_s: float = Field(default=60.0, ge=0, le=600)

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        must_rise(self, "cool_c", "hot_c", "burns_c")
        return self


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered.

    Attributes:
        stands: whether it stands.
        said_c: hottest pad when it was asked, °C.
        again: it is about to be asked once more.
    """

    stands: Standing = QUIET
    said_c: float = 0.0
    again: bool = False


REST = Memory()

ROW = Row(
    tag="pad.hot_to_touch",
    title="pads hot to touch",
    consequence="hands are burnt",
    priority=Priority.LOW,
    warn_do="",
    trip_do="",
    warn_urgency=Urgency.MORNING,
    causes=(
        "pads preheated for mounting, as they should be",
        "the repair is let down before the pads are cool",
        "pads lie plugged in on the bench",
    ),
    time_available="a second's touch burns above about 65 C, a minute's at 51 C",
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
    if view.phase in HANDS_OFF:
        return REST, CLEAR
    hottest_c = view.now.hottest_c if not view.unplugged else _plugged_in_c(view)
    stands = memory.stands
    if stands.level is Level.CLEAR and (hottest_c is None or hottest_c <= limits.hot_c):
        return REST, NOT_JUDGED if hottest_c is None else CLEAR
    stands = stand(
        view,
        stands,
        Level.PROMPT,
        away=hottest_c is not None and hottest_c < limits.cool_c,
        clear_after_s=limits.clear_after_s,
    )
    if stands.level is Level.CLEAR:
        return REST, CLEAR
    memory = _asked(limits, memory, stands, hottest_c)
    if memory.again:
        # A prompt is told as it begins: over for one frame, it begins anew.
        return memory, CLEAR
    burns = memory.said_c > limits.burns_c
    words = "burn at a touch, gloves on" if burns else "hot to touch: wear gloves"
    return memory, Finding(Level.PROMPT, f"pads {memory.said_c:.0f} C, {words}", Horn.SILENT)


def _asked(limits: Limits, memory: Memory, stands: Standing, hottest_c: float | None) -> Memory:
    said_c = memory.said_c
    if hottest_c is None or said_c > limits.burns_c:
        again = False
    elif memory.stands.level is Level.CLEAR:
        said_c, again = hottest_c, False
    else:
        again = hottest_c > limits.burns_c
        said_c = hottest_c if again else said_c
    after = Memory(stands, said_c, again)
    return memory if after == memory else after


def _plugged_in_c(view: View) -> float | None:
    """The hottest pad that is plugged in; an unplugged one shows the air's temperature."""
    values = [
        value
        for name, value in zip(PADS, view.now.pads, strict=True)
        if value is not None and name not in view.unplugged
    ]
    return max(values, default=None)
