"""The daemon killed, stopped and beside a broken rig: heat stays off, records whole."""

import json
import signal
import subprocess
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from daemon.notify.compose import message_id_of
from daemon.store.errors import StoreError
from rules.events import AlarmChanged, PermitChanged
from tests.e2e.workshop import Workshop, heard, opened, subscriber

TRIES = 2400
# A fault that strikes late keeps the plant's story going while a test asks around.
STAY = ("--fault", "crew_walks_off@heat_up+1800")


def wait_for(daemon: "subprocess.Popen[str]", *, seen: Any, workshop: Workshop) -> None:
    """Return when `seen()` is true; the daemon's own end is a failure."""
    for _ in range(TRIES):
        if seen():
            return
        try:
            code = daemon.wait(0.05)
        except subprocess.TimeoutExpired:
            continue
        raise AssertionError(f"the daemon ended with {code}: {workshop.log()}")
    raise AssertionError(f"never seen: {workshop.log()}")


def alarms_of(workshop: Workshop) -> list[tuple[str, str]]:
    """Tag and state of every alarm on record, oldest first."""
    try:
        found = workshop.reader().happened(rig="bay-2", rows_max=10_000)
    except StoreError:
        return []  # the store is only just being made
    return [
        (item.event.tag, item.event.state) for item in found if isinstance(item.event, AlarmChanged)
    ]


def permits_of(workshop: Workshop) -> list[str]:
    return [
        item.event.permit
        for item in workshop.reader().events(1)
        if isinstance(item.event, PermitChanged)
    ]


def reads(workshop: Workshop, channel: str) -> float | None:
    """One channel of bay-2, read over the wire beside whatever the daemon does."""
    shown = workshop.curehold("check", "--json")
    rows = [json.loads(line) for line in shown.stdout.splitlines() if line.startswith("{")]
    return next(row["value"] for row in rows if (row["rig"], row["channel"]) == ("bay-2", channel))


@pytest.mark.proves("killed with a standing trip: latched, heat off, nothing told twice")
def test_killed_in_mid_run_with_a_standing_trip_resumes_latched_and_cold(tmp_path: Path) -> None:
    fault = ("--fault", "pins_pulled@heat_up+300", *STAY)
    with opened(tmp_path, "whole_cure", *fault) as workshop:
        workshop.configure()
        tripped = ("release.pins_under_pressure", "trip")
        topics = ("curehold/1/workshop/bay-2/alarm/+", "curehold/1/workshop/bay-2/event")
        with subscriber(workshop.broker, *topics) as listener:
            with workshop.supervised() as daemon:
                wait_for(daemon, seen=lambda: tripped in alarms_of(workshop), workshop=workshop)
                daemon.send_signal(signal.SIGKILL)
                daemon.wait(10)
            before = alarms_of(workshop)
            with workshop.supervised() as daemon:
                ready = '"event": "daemon.ready"'
                wait_for(daemon, seen=lambda: workshop.log().count(ready) == 2, workshop=workshop)
                state = workshop.status()
                assert state["permit"] == "latched"
                assert state["run"] == 1
                assert [alarm["tag"] for alarm in state["alarms"]].count(tripped[0]) == 1
                assert state["outputs"]["heat_permit"] is False
                assert reads(workshop, "heat_permit") == 0.0
                daemon.send_signal(signal.SIGTERM)
                assert daemon.wait(30) == 0, workshop.log()
            told = heard(listener)
        after = alarms_of(workshop)
        assert after[: len(before)] == before
        assert after.count(tripped) == 1, "a resumed trip is not told a second time"
        assert permits_of(workshop) == ["granted", "withdrawn", "granted", "latched"]
        stored = {
            message_id_of("workshop", item.rig, item.seq, item.n, item.wall_ns)
            for item in workshop.reader().events(1)
        }
        announced = {body["message_id"].removesuffix(".alarm") for _, body in told}
        assert announced == stored, "no announced event missing, no stored one unannounced"
        assert workshop.reader().verify_chain("bay-2") is None
        assert workshop.curehold("replay", "1").returncode == 0


@pytest.mark.proves("a stop takes heat away, stores all, says goodbye")
def test_sigterm_takes_heat_away_flushes_and_says_goodbye(tmp_path: Path) -> None:
    with opened(tmp_path, "whole_cure") as workshop:
        workshop.configure()
        with subscriber(workshop.broker, "curehold/1/workshop/daemon") as listener:
            with workshop.supervised() as daemon:
                wait_for(
                    daemon,
                    seen=lambda: (
                        (tmp_path / "control.sock").exists()
                        and workshop.curehold("status").returncode == 0
                        and workshop.status()["phase"] == "preheat"
                    ),
                    workshop=workshop,
                )
                assert reads(workshop, "heat_permit") == 1.0, "heat was on: else this shows nothing"
                daemon.send_signal(signal.SIGTERM)
                assert daemon.wait(30) == 0, workshop.log()
            told = heard(listener)
        assert reads(workshop, "heat_permit") == 0.0
        assert [body["state"] for _, body in told][:2] == ["online", "stopping"]
        frames = list(workshop.reader().frames(1))
        assert [frame.seq for frame in frames] == list(
            range(frames[0].seq, frames[0].seq + len(frames))
        )
        assert workshop.curehold("status").returncode == 3, "nobody answers any more"


@pytest.mark.proves("one rig never stops or delays another")
def test_one_rig_blind_never_delays_its_neighbour(tmp_path: Path) -> None:
    """Bay 2's temperature module goes silent; bay 3 on the same wire goes on."""
    fault = ("--rigs", "2", "--fault", "module_silent@preheat+300", *STAY)
    with opened(tmp_path, "whole_cure", *fault) as workshop:
        workshop.configure(rigs=2)
        with workshop.supervised() as daemon:
            trip = ("link.stale", "trip")
            wait_for(daemon, seen=lambda: trip in alarms_of(workshop), workshop=workshop)
            blind = workshop.status("bay-2")
            well = workshop.status("bay-3")
            daemon.send_signal(signal.SIGTERM)
            assert daemon.wait(30) == 0, workshop.log()
        assert blind["permit"] == "latched"
        assert blind["values"]["pad_inner_c"]["value"] is None
        assert blind["values"]["pad_inner_c"]["reason"] == "no_reply"
        assert blind["values"]["bag_inner_kpa"]["quality"] == "good", "its other modules answer"
        assert well["permit"] == "granted"
        assert well["alarms"] == []
        assert well["polls_missed"] == 0
        assert all(value["quality"] == "good" for value in well["values"].values())
        runs = {run.rig: run.id for run in workshop.reader().runs()}
        seen = [frame.t_ns for frame in workshop.reader().frames(runs["bay-3"])]
        gaps = {round((after - before) / 1e9, 3) for before, after in pairwise(seen)}
        assert gaps == {1.0}


def test_seen_over_the_socket_is_carried_out_and_start_is_not(tmp_path: Path) -> None:
    fault = ("--fault", "pins_pulled@heat_up+60", *STAY)
    with opened(tmp_path, "whole_cure", *fault) as workshop:
        workshop.configure()
        with workshop.supervised() as daemon:
            tripped = ("release.pins_under_pressure", "trip")
            wait_for(daemon, seen=lambda: tripped in alarms_of(workshop), workshop=workshop)
            seen = workshop.curehold("alarms", "seen", "bay-2", tripped[0])
            assert seen.returncode == 0, seen.stdout + seen.stderr
            assert workshop.curehold("alarms", "start", "bay-2").returncode == 2
            state = workshop.status()
            standing = next(item for item in state["alarms"] if item["tag"] == tripped[0])
            assert standing["seen_by"]
            assert state["permit"] == "latched"
            daemon.send_signal(signal.SIGTERM)
            assert daemon.wait(30) == 0, workshop.log()
