"""What a configuration says of pins: the chip, its lines read and its lines written."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Literal, Self

from pydantic import BaseModel, Field, model_validator

from drivers.settings import STRICT

Bias = Literal["pull_up", "pull_down", "none"]

LINES_MAX = 64

_Number = Annotated[int, Field(ge=0, le=1023)]
_Name = Annotated[str, Field(min_length=1, max_length=31)]  # the kernel's own limit


class GpioSettings(BaseModel):
    """Which chip, and how its lines are watched.

    Attributes:
        chip: path of the chip, `/dev/gpiochip0` and the like, or its label,
            which stays the same when the numbers change.
        period_s: time between polls, and between the edges of outputs that
            move, s. Edges of inputs are taken as they come.
        hold_s: an output stays on only while its token was renewed less than
            this long ago, s.
        debounce_ms: a level counts once it stood this long, ms; 0 for none.
        stretch_s: a switch shows on until it is released, and at least this
            long after it was pressed, s; longer than a frame's period.
    """

    model_config = STRICT

    chip: str = Field(min_length=1, max_length=200)
    period_s: float = Field(default=0.25, ge=0.02, le=5)
    hold_s: float = Field(default=3.0, gt=0, le=30)
    debounce_ms: int = Field(default=20, ge=0, le=500)
    stretch_s: float = Field(default=1.2, ge=0, le=5)

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        if self.hold_s < self.period_s:
            raise ValueError(
                f"hold_s = {self.hold_s:g} is below period_s = {self.period_s:g}, so outputs would "
                "be let go between two polls; raise hold_s or lower period_s"
            )
        return self


class LineSettings(BaseModel):
    """One line of the chip.

    Attributes:
        line: its number on the chip, or the name the kernel has for it.
        inverted: a low level is on.
    """

    model_config = STRICT

    line: _Number | _Name
    inverted: bool = False


class PointSettings(LineSettings):
    """One switch to be read.

    Attributes:
        bias: `pull_up` for a contact to ground, `pull_down` for one to the supply,
            `none` for a line that is driven both ways. Open and without it a line
            floats, and may read as a button that is pressed.
        stretch_s: the link's, unless given here. 0 for a contact that is on for
            hours: stretched, one that chatters would look closed.
    """

    bias: Bias
    stretch_s: float | None = Field(default=None, ge=0, le=5)


class OutputSettings(LineSettings):
    """One output.

    Attributes:
        token: for whose life it stays on.
        toggled: on means to move all the time, for a relay outside that is
            retriggered by each rising edge and falls when they cease.
    """

    token: str = Field(min_length=1, max_length=100)
    toggled: bool = False


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the chip is asked for: inputs and outputs by point name."""

    chip: str
    debounce_ms: int
    inputs: Mapping[str, PointSettings]
    outputs: Mapping[str, OutputSettings]
