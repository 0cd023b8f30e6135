"""The people at the rig: what they mean to do, how they are, and what they do out of turn."""

from simulator.crew.person import Crew
from simulator.crew.plan import Errand, ErrandKind, Habits, Order, RepairPlan, Skip, Stage

__all__ = ["Crew", "Errand", "ErrandKind", "Habits", "Order", "RepairPlan", "Skip", "Stage"]
