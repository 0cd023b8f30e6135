"""Crews of named scenarios, brought to a stage, for tests; each on a copy of its own."""

import copy
from dataclasses import replace
from functools import cache

from simulator.crew import RepairPlan, Stage
from simulator.scenarios import find_scenario
from simulator.yard import Yard
from tests.unit.stand_in import StandIn

SEED = 2


def at_work(name, **built):
    return StandIn(Yard(replace(find_scenario(name), **built), rigs=1, seed=SEED), keeps=False)


# Where runs are kept, so that tests of one scenario share their way there.
WAYPOINTS = (Stage.AIR_UP, Stage.HEAT_UP, Stage.HOLD, Stage.COOL, Stage.LET_DOWN, Stage.HOME)


@cache
def waypoint(name, stage):
    place = WAYPOINTS.index(stage)
    run = reached(name, WAYPOINTS[place - 1]) if place else at_work(name)
    return run.run_to(stage)


def reached(name, stage, plus_s=0.0):
    """A copy of the scenario's run, so long into the stage."""
    run = copy.deepcopy(waypoint(name, stage))
    return run.run_to(stage, plus_s=plus_s)


def rig_of(run):
    return run.yard.rigs[0]


def crew_of(run):
    return run.yard.crews[0]


def began(run, stage, repair=1):
    return crew_of(run).began_at_s[(repair, stage)]


def quick(**plan):
    """A repair in which little time is spent."""
    return RepairPlan(**({"preheat_s_min": 60.0, "hold_s": 600.0, "hold_s_max": 700.0} | plan))
