"""A picture of one rig's run with its truth, as SVG; the same bytes for the same run.

Above: the pads, through the repair, the air, and who did what, over time. To the
right: how cured the repair is through its depth at the end. Thin lines are what
the instruments showed, thick ones what really was.
"""

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from simulator.faults import Disturbance
from simulator.panel import SIDES
from simulator.yard import STRIKES_FIRST_RIG, Yard

if TYPE_CHECKING:
    from matplotlib.axes import Axes

EVERY_S = 20.0
SLACK_S = 1e-6
# Told apart without red and green (Okabe and Ito's set, from memory), and by dash as well.
COLOURS = {"inner": "#0072B2", "outer": "#D55E00"}
DASHES = {"inner": "-", "outer": "--"}
LANES = ("heat permit", "heat on", "pins in", "someone at the rig")
SIZE_INCH = (11.0, 8.2)


class PictureError(Exception):
    """The picture cannot be drawn; says what to install or do."""


@dataclass(slots=True)
class _Course:
    """What was sampled, one item each `EVERY_S`."""

    at_h: list[float] = field(default_factory=list)
    true_c: list[list[float]] = field(default_factory=list)
    shown_c: list[list[float]] = field(default_factory=list)
    depths_c: list[np.ndarray] = field(default_factory=list)
    true_kpa: list[list[float]] = field(default_factory=list)
    shown_kpa: list[list[float]] = field(default_factory=list)
    lanes: list[list[bool]] = field(default_factory=list)


class Picture:
    """Samples the first rig while it runs, and draws it at the end."""

    def __init__(self, yard: Yard) -> None:
        _drawing_library()
        self._yard = yard
        self._course = _Course()
        self._next_s = 0.0
        self._here = False
        self._stages: list[tuple[float, str]] = []
        self._broken: dict[str, list[float]] = {}

    def note(self) -> None:
        """Sample what is due; call it after every step."""
        yard = self._yard
        rig, crew = yard.rigs[STRIKES_FIRST_RIG], yard.crews[STRIKES_FIRST_RIG]
        at_h = yard.now_s / 3600
        if not self._stages or self._stages[-1][1] != crew.stage.value:
            self._stages.append((at_h, crew.stage.value))
        for name in yard.struck():
            self._broken.setdefault(name, [at_h, at_h])[1] = at_h
        self._here |= any(rig.controls.pressed(name, yard.now_s) for name in _BUTTONS)
        if yard.now_s < self._next_s - SLACK_S:
            return
        self._next_s = yard.now_s + EVERY_S
        course, shown = self._course, rig.measured()
        course.at_h.append(at_h)
        pads, bags = rig.pads, rig.bags
        course.true_c.append([pads[side].centre_c for side in SIDES])
        course.shown_c.append([_number(shown[f"pad_{side}_c"]) for side in SIDES])
        course.depths_c.append(np.array(rig.slab.centre_c))
        course.true_kpa.append([bags[side].pressure_kpa for side in SIDES])
        course.shown_kpa.append([_number(shown[f"bag_{side}_kpa"]) for side in SIDES])
        permit = rig.relays.contact("heat_permit")
        course.lanes.append([permit, rig.heat_on, rig.controls.pins_in, self._here])
        self._here = False

    def write(self, path: Path) -> None:
        """Draw.

        Raises:
            PictureError: there is nothing to draw.
        """
        if len(self._course.at_h) < 4:
            raise PictureError("no picture: the run was shorter than a minute")
        matplotlib = _drawing_library()
        settings = {
            "svg.hashsalt": "curehold",
            "svg.fonttype": "none",
            "font.size": 9,
            "axes.spines.top": False,
            "axes.spines.right": False,
        }
        with matplotlib.rc_context(settings):
            figure = matplotlib.figure.Figure(figsize=SIZE_INCH, layout="constrained")
            panels = figure.subplot_mosaic(
                [["pads", "cured"], ["depth", "cured"], ["air", "text"], ["lanes", "text"]],
                width_ratios=[3.4, 1.0],
                height_ratios=[3, 3, 2, 1.5],
            )
            self._draw_times(panels)
            self._draw_depth(figure, panels["depth"])
            self._draw_cured(panels["cured"])
            self._draw_words(panels["text"])
            scenario = self._yard.scenario
            figure.suptitle(f"PRETEND RIG: {scenario.title}", x=0.01, ha="left", weight="bold")
            figure.savefig(path, format="svg", metadata={"Date": None, "Creator": None})

    def _draw_times(self, panels: dict[str, "Axes"]) -> None:
        course = self._course
        for number, side in enumerate(SIDES):
            colour, dash = COLOURS[side], DASHES[side]
            true: dict[str, Any] = {"color": colour, "linestyle": dash, "linewidth": 2.0}
            thin: dict[str, Any] = {"color": colour, "linewidth": 1.0, "alpha": 0.85}
            for name, trues, showns in (
                ("pads", course.true_c, course.shown_c),
                ("air", course.true_kpa, course.shown_kpa),
            ):
                shown = [row[number] for row in showns]
                panels[name].plot(course.at_h, shown, label=f"{side}, shown", **thin)
                really = [row[number] for row in trues]
                panels[name].plot(course.at_h, really, label=f"{side}, true", **true)
        panels["pads"].set_ylabel("pad, °C")
        panels["air"].set_ylabel("bag, kPa gauge")
        panels["pads"].legend(loc="lower center", ncols=4, frameon=False)
        self._draw_lanes(panels["lanes"])
        for name in ("pads", "depth", "air", "lanes"):
            panels[name].set_xlim(course.at_h[0], course.at_h[-1])
            panels[name].tick_params(labelbottom=name == "lanes")
            self._mark(panels[name])
        self._name_stages(panels["pads"])

    def _draw_lanes(self, axes: "Axes") -> None:
        for place in range(len(LANES)):
            on = [row[place] for row in self._course.lanes]
            bottom = len(LANES) - 1 - place
            axes.fill_between(
                self._course.at_h,
                bottom,
                [bottom + 0.7 * value for value in on],
                step="post",
                color="#444444",
                linewidth=0,
            )
            axes.axhline(bottom, color="#bbbbbb", linewidth=0.5)
        axes.set_yticks([len(LANES) - 0.7 - place for place in range(len(LANES))], LANES)
        axes.tick_params(axis="y", length=0)
        axes.set_ylim(-0.1, len(LANES))
        axes.set_xlabel("hours")

    def _draw_depth(self, figure: Any, axes: "Axes") -> None:
        depths_mm = self._yard.rigs[STRIKES_FIRST_RIG].slab.depth_mm
        warmth_c = np.array(self._course.depths_c).T
        shades = axes.pcolormesh(
            self._course.at_h, depths_mm, warmth_c, cmap="cividis", rasterized=True
        )
        lines = axes.contour(
            self._course.at_h, depths_mm, warmth_c, levels=[100.0, 120.0, 135.0], colors="white"
        )
        axes.clabel(lines, fmt="%g °C", fontsize=8)
        axes.invert_yaxis()
        axes.set_ylabel("depth from inner face, mm")
        figure.colorbar(shades, ax=axes, label="repair, centre, °C", pad=0.01)

    def _draw_cured(self, axes: "Axes") -> None:
        rig = self._yard.rigs[STRIKES_FIRST_RIG]
        depths_mm = rig.slab.depth_mm
        axes.plot(rig.cured.centre_min, depths_mm, color="black", label="centre")
        axes.plot(rig.cured.edge_min, depths_mm, color="black", linestyle=":", label="edge")
        axes.invert_yaxis()
        axes.set_xlim(left=0)
        axes.set_title("true cure at the end", fontsize=9)
        axes.set_xlabel(f"minutes' worth at {rig.cured.settings.reference_c:g} °C")
        axes.set_ylabel("depth from inner face, mm")
        axes.legend(frameon=False)

    def _draw_words(self, axes: "Axes") -> None:
        axes.axis("off")
        faults = {planned.name: planned for planned in self._yard.scenario.faults}
        lines = [] if self._broken else ["nothing broke"]
        for name, (from_h, until_h) in self._broken.items():
            harmless = isinstance(faults[name].fault, Disturbance)
            kind = "disturbance" if harmless else "fault"
            lines.append(f"{kind}: {name.replace('_', ' ')}\n  {from_h:.2f} to {until_h:.2f} h")
        lines += ["", "thick: what really was", "thin: what instruments showed"]
        lines += ["All figures are invented.", "Nothing was heated."]
        axes.text(0.0, 1.0, "\n".join(lines), va="top", fontsize=9)

    def _mark(self, axes: "Axes") -> None:
        for at_h, _ in self._stages[1:]:
            axes.axvline(at_h, color="#999999", linewidth=0.6, linestyle=":")
        for from_h, until_h in self._broken.values():
            axes.axvspan(from_h, max(until_h, from_h + 0.004), color="#CC79A7", alpha=0.25)

    def _name_stages(self, axes: "Axes") -> None:
        ends = [*(at_h for at_h, _ in self._stages[1:]), self._course.at_h[-1]]
        whole_h = self._course.at_h[-1]
        for (from_h, stage), until_h in zip(self._stages, ends, strict=True):
            if until_h - from_h < 0.045 * whole_h:
                continue
            axes.annotate(
                stage.replace("_", " "),
                ((from_h + until_h) / 2, 1.01),
                xycoords=("data", "axes fraction"),
                ha="center",
                fontsize=8,
                color="#555555",
            )


_BUTTONS = ("start_button", "here_button", "reset_button")


def _number(value: float | None) -> float:
    return float("nan") if value is None else float(value)


def _drawing_library() -> Any:
    # Only a picture needs it, and no small computer should have to carry it.
    try:
        import matplotlib.figure  # noqa: PLC0415 - see above
    except ImportError as error:
        raise PictureError(
            "--plot needs matplotlib: install curehold with its extra, pip install 'curehold[plot]'"
        ) from error
    return matplotlib
