"""All limits of a rig in one frozen model; hazards bring their own.

Source:
    This project's design.
"""

from collections.abc import Callable, Mapping
from typing import Any, Self, cast

from pydantic import BaseModel, Field, PrivateAttr, create_model, model_validator

from rules.air import AirLimits
from rules.alarms import AlarmLimits
from rules.calibration import Calibration
from rules.facts import STRICT, RigFacts
from rules.hazards import HAZARDS
from rules.hazards.base import Finding
from rules.hold import HoldLimits
from rules.permit import PermitLimits
from rules.phases import PhaseLimits
from rules.trust import TrustLimits
from rules.usual import UsualTimes
from rules.view import View

CUTOUT_MARGIN_C = 5.0


Judged = tuple[Callable[[Any, Any, View], tuple[Any, Finding]], Any, str]


class LimitsBase(BaseModel):
    """Facts and limits of one rig; each hazard adds a field of its own name.

    Attributes:
        facts: what the owner states about the rig and the job.
        phases: figures of the phase table.
        hold: when the hold clock runs.
        permit: figures of the heat permit.
        trust: what a pad can do, so that a jumping reading is not believed.
        air: figures of the model of the air in the bags.
        alarms: when alarms come back, escalate and are a nuisance.
        usual: what usually takes how long, for what is said beforehand.
        calibrations: what readings were corrected by, by channel.
    """

    model_config = STRICT

    facts: RigFacts = RigFacts()
    phases: PhaseLimits = PhaseLimits()
    hold: HoldLimits = HoldLimits()
    permit: PermitLimits = PermitLimits()
    trust: TrustLimits = TrustLimits()
    air: AirLimits = AirLimits()
    alarms: AlarmLimits = AlarmLimits()
    usual: UsualTimes = UsualTimes()
    calibrations: Mapping[str, Calibration] = Field(default_factory=dict)

    _in_order: tuple[Judged, ...] = PrivateAttr(default=())

    def model_post_init(self, _context: Any) -> None:  # pydantic's own signature
        """Put each hazard's limits beside its function, once and not in every frame."""
        self._in_order = tuple(
            (hazard.judge, getattr(self, hazard.name), hazard.row.tag)
            for hazard in HAZARDS
            if hasattr(self, hazard.name)
        )

    @property
    def in_order(self) -> tuple[Judged, ...]:
        """What the step needs of every hazard, in their order: function, limits, tag.

        Source:
            Own method.
        """
        return self._in_order

    def of(self, hazard: str) -> Any:  # each hazard's own limits type
        """The limits of one hazard, by its module name.

        Source:
            Own method.
        """
        return getattr(self, hazard)

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        faults = [*_heat_faults(self), *_air_faults(self)]
        if faults:
            raise ValueError("; and ".join(faults))
        return self


def _heat_faults(limits: LimitsBase) -> list[str]:
    facts, found = limits.facts, []
    over = getattr(limits, "pad_overtemperature", None)
    if over is not None:
        trip_c = facts.set_c + over.trip_over_set_c
        if trip_c > facts.cutout_c - CUTOUT_MARGIN_C:
            found.append(
                f"pad_overtemperature trips at {trip_c:g} C, less than {CUTOUT_MARGIN_C:g} C below "
                f"facts.cutout_c = {facts.cutout_c:g}; lower pad_overtemperature.trip_over_set_c, "
                "or have the thermal cut-out set higher and state it"
            )
    for name, value_c in (
        ("hold.starts_c", limits.hold.starts_c),
        ("phases.cure_c", limits.phases.cure_c),
    ):
        if value_c >= facts.set_c:
            found.append(
                f"{name} = {value_c:g} is not below facts.set_c = {facts.set_c:g}; "
                f"lower {name} or raise facts.set_c"
            )
    return found


def _air_faults(limits: LimitsBase) -> list[str]:
    facts, phases, found = limits.facts, limits.phases, []
    if not phases.empty_kpa < phases.filling_kpa < phases.held_kpa:
        found.append(
            f"phases.empty_kpa = {phases.empty_kpa:g}, filling_kpa = {phases.filling_kpa:g} and "
            f"held_kpa = {phases.held_kpa:g} must rise in this order; the bands may not cross"
        )
    for name, value_kpa in (
        ("phases.held_kpa", phases.held_kpa),
        ("hold.pressure_kpa", limits.hold.pressure_kpa),
    ):
        if value_kpa >= facts.set_kpa:
            found.append(
                f"{name} = {value_kpa:g} is not below facts.set_kpa = {facts.set_kpa:g}; "
                f"lower {name} or raise facts.set_kpa"
            )
    low = getattr(limits, "bag_low", None)
    if low is not None and low.warn_kpa >= facts.set_kpa:
        found.append(
            f"bag_low.warn_kpa = {low.warn_kpa:g} is not below facts.set_kpa = {facts.set_kpa:g}; "
            "lower bag_low.warn_kpa or raise facts.set_kpa"
        )
    return found


def _with_hazards() -> type[LimitsBase]:
    fields: dict[str, Any] = {
        hazard.name: (hazard.limits_type, Field(default_factory=hazard.limits_type))
        for hazard in HAZARDS
    }
    return cast("type[LimitsBase]", create_model("Limits", __base__=LimitsBase, **fields))


Limits = _with_hazards()
