"""Reads and plays the cases beside a hazard: `rules/hazards/<module>.cases.toml`.

A case gives keyframes; every value stands until the next keyframe that names
it, or runs in a straight line to it with `ramp = true`. `every_s` fills frames
in between. Each frame is judged by the hazard alone, on the view that `rules.trust`
and `rules.air` make of it.

Keys of a keyframe, beside channel names: `at_s`; any field of `View` (they
stand too, but `someone_here` and `gap_s` are for one frame); `readback`, a
table of outputs, where the word "unread" is a failed read-back; `health`, a table of
fields of `Health`; `wall_s`, how far the wall clock is wrong; `wall_trusted`. A channel's
value is a number, a `Reason` in words (a bad reading, for a link reason as old
as its last answer), "uncertain 156", or "not_fitted".
"""

import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from rules import air, heating, trust
from rules.channels import BY_NAME
from rules.events import Horn, Level
from rules.facts import RigFacts
from rules.frame import LINK_REASONS, NS_PER_S, Frame, Health, Quality, Reading, Reason
from rules.hazards import HAZARDS, Hazard
from rules.hazards.base import Finding
from rules.phases import Phase
from rules.signals import now_of
from rules.view import View, view_of

KINDS = ("healthy", "near_miss", "warns", "trips", "clears", "missing", "suppressed")
SILENT_KINDS = frozenset({"healthy", "near_miss", "suppressed"})
CASES = Path(__file__).parents[2] / "rules" / "hazards"

_WORKED_OUT = {"frame", "facts", "now_ns", "dt_s", "air", "now", "heating", "heated"}
_VIEW_KEYS = set(View._fields) - _WORKED_OUT
_ONE_FRAME = frozenset({"someone_here", "here_pressed", "gap_s"})
_FRAME_KEYS = {"at_s", "readback", "health", "wall_s", "wall_trusted"}
_CASE_KEYS = {
    "name",
    "kind",
    "source",
    "facts",
    "limits",
    "phase",
    "view",
    "every_s",
    "ramp",
    "frames",
    "expect",
}


@dataclass(frozen=True)
class Expected:
    """What a case expects of one frame; the times to the whole minute, -1 for none."""

    at_s: float
    state: str
    said_has: str = ""
    said_lacks: str = ""
    horn: str = ""
    go_by_min: int | None = None
    save_min: int | None = None


@dataclass(frozen=True)
class Case:
    """One case."""

    module: str
    name: str
    kind: str
    source: str
    frames: tuple[dict[str, Any], ...]
    expect: tuple[Expected, ...]
    facts: RigFacts = RigFacts()
    limits: dict[str, Any] = field(default_factory=dict)
    view: dict[str, Any] = field(default_factory=dict)
    every_s: float | None = None
    ramp: bool = False


def path_of(hazard: Hazard) -> Path:
    """Where the cases of a hazard are."""
    return CASES / f"{hazard.name}.cases.toml"


def cases_of(hazard: Hazard) -> list[Case]:
    """The cases beside a hazard; none when there is no file."""
    path = path_of(hazard)
    if not path.exists():
        return []
    return [_case(hazard, body) for body in tomllib.loads(path.read_text())["case"]]


def all_cases() -> list[tuple[Hazard, Case]]:
    """Every case of every hazard."""
    return [(hazard, case) for hazard in HAZARDS for case in cases_of(hazard)]


def _case(hazard: Hazard, body: dict[str, Any]) -> Case:
    where = f"{hazard.name}.cases.toml: {body.get('name', '?')}"
    unknown = set(body) - _CASE_KEYS
    assert not unknown, f"{where}: no such keys: {sorted(unknown)}"
    assert body["kind"] in KINDS, f"{where}: kind {body['kind']!r} is none of {KINDS}"
    for keyframe in body["frames"]:
        odd = {key for key in keyframe if key not in BY_NAME} - _VIEW_KEYS - _FRAME_KEYS
        assert not odd, f"{where}: no such channel or view field: {sorted(odd)}"
    expect = body["expect"]
    return Case(
        hazard.name,
        body["name"],
        body["kind"],
        body["source"],
        tuple(body["frames"]),
        tuple(Expected(**item) for item in (expect if isinstance(expect, list) else [expect])),
        RigFacts(**body.get("facts", {})),
        body.get("limits", {}),
        {"phase": body.get("phase", "idle"), **body.get("view", {})},
        body.get("every_s"),
        body.get("ramp", False),
    )


def play(hazard: Hazard, case: Case, limits: Any = None) -> Iterator[tuple[float, View, Finding]]:
    """Judge every frame of a case: its time, the view and the finding."""
    limits = limits or hazard.limits_type(**case.limits)
    memory = hazard.memory_type()
    for at_s, view in views(case):
        memory, finding = hazard.judge(limits, memory, view)
        yield at_s, view, finding


def views(case: Case) -> Iterator[tuple[float, View]]:
    """The frames of a case, in order."""
    values: dict[str, Any] = {}
    standing = dict(case.view)
    readback: dict[str, bool | None] = {}
    answered: dict[str, int] = {}
    before_s: float | None = None
    health, wall = Health(), {"wall_s": 0.0, "wall_trusted": True}
    trusted, modelled, warmed = trust.Trust(), air.Air(), heating.Heating()
    for seq, (at_s, keyframe, line) in enumerate(_ticks(case)):
        for key, value in keyframe.items():
            if key in BY_NAME:
                values[key] = value
            elif key == "readback":
                readback |= {name: None if on == "unread" else on for name, on in value.items()}
            elif key == "health":
                health = replace(health, **value)
            elif key in wall:
                wall[key] = value
            elif key in _VIEW_KEYS - _ONE_FRAME:
                standing[key] = value
        t_ns = round(at_s * NS_PER_S)
        readings = {
            name: _reading(line.get(name, value), name, t_ns, answered)
            for name, value in values.items()
            if value != "not_fitted"
        }
        once = {key: keyframe[key] for key in _ONE_FRAME if key in keyframe}
        dt_s = 0.0 if before_s is None else at_s - before_s
        before_s = at_s
        wall_ns = t_ns + round(wall["wall_s"] * NS_PER_S)
        trusted_wall = bool(wall["wall_trusted"])
        frame = Frame(seq, t_ns, wall_ns, trusted_wall, "case", readings, dict(readback), health)
        gap_s = once.get("gap_s", 0.0)
        trusted = trust.follow(trust.TrustLimits(), trusted, frame, t_ns, gap_s)
        now = now_of(frame, trusted.doubted)
        modelled = air.follow(air.AirLimits(), modelled, case.facts, frame, now, t_ns, gap_s)
        warmed = heating.follow(warmed, now, t_ns, dt_s, gap_s)
        body = _typed(standing | once) | {"air": modelled, "now": now, "heating": warmed}
        yield at_s, view_of(frame, case.facts, t_ns, dt_s, **body)


def _typed(body: dict[str, Any]) -> dict[str, Any]:
    typed = dict(body)
    if "phase" in typed:
        typed["phase"] = Phase(typed["phase"])
    if "unplugged" in typed:
        typed["unplugged"] = frozenset(typed["unplugged"])
    if "standing" in typed:
        typed["standing"] = tuple(typed["standing"])
    return typed


def _ticks(case: Case) -> Iterator[tuple[float, dict[str, Any], dict[str, float]]]:
    """Time, keyframe (or nothing) and values on the straight line, frame by frame."""
    for here, after in zip(case.frames, (*case.frames[1:], None), strict=True):
        yield here["at_s"], here, {}
        if after is None or case.every_s is None or "gap_s" in after:
            continue
        span_s = after["at_s"] - here["at_s"]
        for step in range(1, max(1, round(span_s / case.every_s))):
            part = step * case.every_s / span_s
            line = {
                key: here[key] + (after[key] - here[key]) * part
                for key in here.keys() & after.keys() & BY_NAME.keys()
                if case.ramp and _is_number(here[key]) and _is_number(after[key])
            }
            yield round(here["at_s"] + step * case.every_s, 6), {}, line


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float)


def _reading(value: Any, name: str, t_ns: int, answered: dict[str, int]) -> Reading:
    if _is_number(value):
        answered[name] = t_ns
        return Reading(float(value), Quality.GOOD, Reason.NONE, t_ns)
    word, _, figure = value.partition(" ")
    if word == "uncertain":
        answered[name] = t_ns
        return Reading(float(figure), Quality.UNCERTAIN, Reason.NONE, t_ns)
    reason = Reason(value)
    if reason not in LINK_REASONS:
        answered[name] = t_ns
    never = t_ns if reason is Reason.NEVER_READ else 0
    return Reading(None, Quality.BAD, reason, answered.get(name, never))


def check(hazard: Hazard, case: Case, limits: Any = None) -> list[str]:
    """What of a case does not come out as expected; empty when all does."""
    wanted = {item.at_s: item for item in case.expect}
    faults, seen, worst = [], set(), Level.CLEAR
    for at_s, view, finding in play(hazard, case, limits):
        worst = max(worst, finding.level)
        expected = wanted.get(at_s)
        if expected is None:
            continue
        seen.add(at_s)
        faults += _compare(expected, finding, view)
    missing = sorted(set(wanted) - seen)
    if missing:
        faults.append(f"no frame at {missing} s")
    if case.kind in SILENT_KINDS and worst is not Level.CLEAR:
        faults.append(f"a {case.kind} case spoke: {worst.name}")
    if case.kind == "trips" and worst is not Level.TRIP:
        faults.append("a trips case never tripped")
    if case.kind == "warns" and worst not in (Level.PROMPT, Level.WARN):
        faults.append(f"a warns case went to {worst.name}")
    return faults


def _compare(expected: Expected, finding: Finding, view: View) -> list[str]:
    state = finding.level.name.lower()
    if finding.level is Level.CLEAR and not finding.judged:
        state = "not_judged"
    faults = []
    if state != expected.state:
        faults.append(f"at {expected.at_s} s: {state}, not {expected.state}: {finding.said!r}")
    if expected.said_has not in finding.said:
        faults.append(f"at {expected.at_s} s: said {finding.said!r}, not {expected.said_has!r}")
    if expected.said_lacks and expected.said_lacks in finding.said:
        faults.append(f"at {expected.at_s} s: said {finding.said!r}")
    if expected.horn and finding.horn is not (
        None if expected.horn == "row" else Horn(expected.horn)
    ):
        faults.append(f"at {expected.at_s} s: horn {finding.horn}, not {expected.horn}")
    for wanted, seconds in (
        (expected.go_by_min, finding.go_by_s),
        (expected.save_min, finding.save_s),
    ):
        if wanted is not None and wanted != (-1 if seconds is None else int(seconds // 60)):
            faults.append(f"at {expected.at_s} s: a time of {seconds} s, not {wanted} min")
    return [f"{fault} (phase {view.phase.value})" for fault in faults]
