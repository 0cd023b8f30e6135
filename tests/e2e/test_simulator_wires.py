"""curehold's own daemon beside the simulator on its other wires, in lockstep.

The first minutes of a cure: the pads are preheated on the bench. What the daemon
stores is held against the simulator's own trace, which never went over a wire.
"""

import csv
import re
import signal
from collections.abc import Callable
from pathlib import Path

import pytest

from daemon.store.errors import StoreError
from rules.events import AlarmChanged, PermitChanged
from rules.frame import Frame
from tests.e2e.test_stops import alarms_of, wait_for
from tests.e2e.workshop import Workshop, opened

PLANT_S = 150
STRUCK_S = 100
CHANNELS = ("pad_inner_c", "pad_outer_c", "ambient_c", "bag_inner_kpa", "supply_kpa")
NS_PER_S = 1_000_000_000
LINK = re.compile(r'kind = "modbus_tcp"\nhost = .*\nport = .*\n')


def on_bus(text: str, device: str) -> str:
    """The example with all its modules on one serial bus."""
    text, changed = LINK.subn(f'kind = "modbus_rtu"\ndevice = "{device}"\nparity = "none"\n', text)
    assert changed == 1
    return text


def on_board(text: str, device: str) -> str:
    """The example with all it reads on a board, and its outputs where they were."""
    board = (
        f'[links.board]\nkind = "serial_lines"\ndevice = "{device}"\nform = "key_value"\n'
        "period_s = 1.0\ntimeout_s = 4.0\n\n"  # in lockstep a line a plant second
    )
    text = text.replace("[rigs.bay-2.facts]", board + "[rigs.bay-2.facts]", 1)
    channel = re.compile(r"\[rigs\.bay-2\.channels\.(\w+)\]\n(?:\w+ = .*\n)+")
    text, changed = channel.subn(
        lambda found: f'[rigs.bay-2.channels.{found[1]}]\nlink = "board"\nkey = "{found[1]}"\n',
        text,
    )
    assert changed == 14
    return text


WIRES: dict[str, Callable[[str, str], str]] = {"rtu": on_bus, "lines": on_board}


def frames_of(workshop: Workshop) -> list[Frame]:
    try:
        return list(workshop.reader().frames(1))
    except (StoreError, KeyError):
        return []  # the store, or the run, is only just being made


def trace_of(path: Path) -> dict[float, dict[str, float]]:
    with path.open(encoding="utf-8", newline="") as file:
        return {
            float(row["time_s"]): {name: float(row[name]) for name in CHANNELS}
            for row in csv.DictReader(file)
        }


@pytest.mark.parametrize("wire", list(WIRES))
def test_the_first_minutes_of_a_cure(wire: str, tmp_path: Path) -> None:
    device, trace = tmp_path / "port", tmp_path / "trace.csv"
    asked = ("--wire", f"{wire}:{device}", "--trace", str(trace))
    with opened(tmp_path, "whole_cure", *asked) as workshop:
        workshop.configure(rewired=lambda text: WIRES[wire](text, str(device)))
        with workshop.supervised() as daemon:
            wait_for(daemon, seen=lambda: len(frames_of(workshop)) >= PLANT_S, workshop=workshop)
            daemon.send_signal(signal.SIGTERM)
            assert daemon.wait(30) == 0, workshop.log()
        frames = frames_of(workshop)
        events = [item.event for item in workshop.reader().events(1)]
    # Preheat: bench pads of some hundred watts gain a few degrees a minute.
    permits = [event.permit for event in events if isinstance(event, PermitChanged)]
    assert permits[:1] == ["granted"]
    assert [event for event in events if isinstance(event, AlarmChanged)] == []
    assert frames[-1].values["pad_inner_c"].value > frames[0].values["pad_inner_c"].value + 5.0
    shown = trace_of(trace)
    for frame in frames[:PLANT_S]:
        for name in CHANNELS:
            reading = frame.values[name]
            assert reading.quality == "good"
            now_s = frame.t_ns // NS_PER_S
            assert reading.value == pytest.approx(shown[now_s][name], abs=0.06), (now_s, name)


@pytest.mark.parametrize(
    ("wire", "fault"),
    [("rtu", "module_babbles:module=temperatures"), ("lines", "module_hangs_up:module=pressures")],
)
def test_trouble_on_the_wire_takes_heat_away(wire: str, fault: str, tmp_path: Path) -> None:
    """Without it nothing trips in the same minutes, see above.

    The jammed bus lets no order through: there the relays module's own time-out opens
    the contact. Beside the board the order goes over TCP.
    """
    device, truth = tmp_path / "port", tmp_path / "truth.csv"
    asked = ("--wire", f"{wire}:{device}", "--truth", str(truth), "--fault", f"{fault}@{STRUCK_S}")
    with opened(tmp_path, "whole_cure", *asked) as workshop:
        # Answers are waited for in real time, and many do not come.
        workshop.configure(
            rewired=lambda text: WIRES[wire](text, str(device)).replace("_s = 0.5", "_s = 0.1")
        )
        with workshop.supervised() as daemon:
            trip = ("link.stale", "trip")
            wait_for(daemon, seen=lambda: trip in alarms_of(workshop), workshop=workshop)
            daemon.send_signal(signal.SIGKILL)
    with truth.open(encoding="utf-8", newline="") as file:
        closed = {
            float(row["time_s"]): float(row["true_contactor_closed"])
            for row in csv.DictReader(file)
        }
    assert {closed[at_s] for at_s in closed if 40.0 < at_s <= STRUCK_S} == {1.0}
    opened_s = min(at_s for at_s in closed if at_s > STRUCK_S and closed[at_s] == 0.0)
    assert opened_s - STRUCK_S < 20.0
    assert {closed[at_s] for at_s in closed if at_s >= opened_s} == {0.0}
