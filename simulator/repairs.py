"""Repairs on good days and bad: people as they are, weather, thickness, ways to hold the air.

Nothing breaks in any of them but what people do. All of it is invented.
"""

from collections.abc import Iterator
from dataclasses import replace

from simulator.bags import AirMode
from simulator.crew import Errand, ErrandKind, Habits, RepairPlan, Skip, Stage
from simulator.planned import Scenario
from simulator.plant import RigSettings
from simulator.slab import SlabSettings

WEATHER_C = (-15.0, 0.0, 40.0)
# The data sheet's hold grows with the thickness; invented, of a plausible size.
HOLD_S_BY_MM = {20: 5400.0, 40: 7800.0, 60: 12_600.0, 80: 19_800.0}
WATCHES_LONGER_S = 3000.0

_WHOLE = RepairPlan()


def repairs() -> Iterator[Scenario]:
    """All of them."""
    yield Scenario("whole_cure", "one repair from start to take-off, nothing breaks")
    yield from _air_modes()
    yield from _people()
    yield from _absences()
    for ambient_c in WEATHER_C:
        place = f"minus_{-ambient_c:.0f}" if ambient_c < 0 else f"{ambient_c:.0f}"
        yield Scenario(
            f"cure_at_{place}_c",
            f"one repair in air and on a tyre of {ambient_c:.0f} °C",
            built=RigSettings(ambient_c=ambient_c),
        )
    for thickness_mm, hold_s in HOLD_S_BY_MM.items():
        yield Scenario(
            f"repair_of_{thickness_mm}_mm",
            f"one repair of {thickness_mm} mm, held {hold_s / 60:.0f} min",
            plans=(RepairPlan(hold_s=hold_s, hold_s_max=hold_s + WATCHES_LONGER_S),),
            built=RigSettings(slab=SlabSettings.repair(thickness_mm=thickness_mm)),
        )


def _air_modes() -> Iterator[Scenario]:
    for mode in (AirMode.LOCKED_OFF, AirMode.NON_RELIEVING):
        words = mode.replace("_", " ")
        yield Scenario(
            f"{mode}_cure",
            f"one repair, its air {words}; state air_mode = {mode} in the rig's file",
            plans=(RepairPlan(air_mode=mode),),
        )


def _people() -> Iterator[Scenario]:
    """How people are."""
    yield _with(
        "crew_hurries",
        "half the time for everything, no watching for leaks, opened at 95 °C, bags not felt",
        Habits(pace=0.5, skips=frozenset({Skip.SETTLE, Skip.FEEL_SOFT}), opens_at_c=95.0),
    )
    forgets = {
        Skip.PREHEAT: "the pads are mounted cold",
        Skip.PINS: "the bags are aired up with the clamp unpinned",
        Skip.HERE: "the here button is pressed only when the horn sounds",
        Skip.SWITCH_OFF: "the knob stays up after the hold, and the plugs in at the end of the day",
    }
    for skip, title in forgets.items():
        yield _with(f"crew_forgets_{skip}", title, Habits(skips=frozenset({skip})))
    yield _with(
        "crew_presses_wrong",
        "every other time another button goes down first",
        Habits(presses_wrong=True),
    )
    yield _with(
        "crew_tapes_button",
        "the here button is taped down from the heat-up on",
        Habits(tapes=frozenset({"here_button"})),
    )
    yield _with(
        "crew_trims",
        "locked-off bags are kept at 30 psi by hand; state air_mode = locked_off",
        Habits(trims=True),
        air_mode=AirMode.LOCKED_OFF,
    )
    yield _with(
        "crew_leaves_plugs_in",
        "the pads are carried to the tyre with their plugs in",
        Habits(unplugs=False),
    )
    yield replace(
        _with(
            "crew_at_night",
            "alone at night in air of 5 °C: long rounds, slow to come",
            Habits(pace=1.2, night=True),
        ),
        built=RigSettings(ambient_c=5.0),
        start_hour=21.0,
    )


def _absences() -> Iterator[Scenario]:
    """What calls people away, and what they do in between."""
    yield _on_errand(
        "crew_goes_and_comes",
        "nobody near for 40 min from 10 min into the hold",
        Errand(ErrandKind.AWAY, Stage.HOLD, 600.0, 2400.0),
    )
    yield _on_errand(
        "crew_hands_over",
        "an hour into the hold nobody for 12 min, then somebody slower who trims",
        Errand(ErrandKind.HANDOVER, Stage.HOLD, 3600.0, 720.0, Habits(pace=1.2, trims=True)),
    )
    reheat = Errand(ErrandKind.NEIGHBOUR, Stage.WAIT, 60.0, 2400.0)
    yield Scenario(
        "neighbour_reheated",
        "after the cure the hot pads reheat a repair on another tyre, then the next cure begins",
        plans=(
            replace(_WHOLE, mends_after_s=300.0),
            replace(_WHOLE, start_after_s=3000.0, mends_after_s=300.0, errands=(reheat,)),
        ),
    )
    yield Scenario(
        "second_cure_right_after",
        "a second repair begins with warm pads a minute after the first",
        plans=(_WHOLE, replace(_WHOLE, start_after_s=60.0, preheat_s_min=300.0)),
    )


def _with(
    name: str, title: str, habits: Habits, *, air_mode: AirMode = AirMode.RELIEVING
) -> Scenario:
    return Scenario(name, title, plans=(replace(_WHOLE, habits=habits, air_mode=air_mode),))


def _on_errand(name: str, title: str, errand: Errand) -> Scenario:
    return Scenario(name, title, plans=(replace(_WHOLE, errands=(errand,)),))
