"""A whole workshop for end-to-end tests: pretend plant, broker and daemon as processes.

Everything is the real thing on loopback: the plant serves Modbus TCP, Mosquitto
carries the messages, the daemon runs as `curehold supervise`.
"""

import json
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from daemon.config import Config, load
from daemon.store.reader import StoreReader
from tests.e2e.broker import Broker

EXAMPLE = Path(__file__).parents[2] / "deploy" / "curehold.example.toml"
CUREHOLD = [sys.executable, "-m", "daemon.cli"]
END_S_MAX = 240.0


class Workshop:
    """One plant, one broker and, as often as wanted, one daemon.

    Attributes:
        home: where everything is kept.
        broker: the broker.
        config_path: the daemon's configuration.
    """

    def __init__(self, home: Path, broker: Broker, plant: "subprocess.Popen[str]") -> None:
        assert plant.stdout is not None
        ready = json.loads(plant.stdout.readline())
        self.home = home
        self.broker = broker
        self.plant = plant
        self.modbus_port = int(ready.get("modbus_port", 502))
        self.pace_port = int(ready["pace_port"])
        self.config_path = home / "shop.toml"

    def configure(
        self, *, hold_min: float = 150.0, rigs: int = 1, rewired: Callable[[str], str] = str
    ) -> Config:
        """Write the example configuration for this plant; rigs are bay-2, bay-3 ...

        Args:
            hold_min: from the compound's data sheet.
            rigs: how many.
            rewired: puts the text on other wires than Modbus TCP.
        """
        text = EXAMPLE.read_text()
        for pattern, value in (
            (r"/var/lib/curehold/curehold.db", f"{self.home}/curehold.db"),
            (r"/run/curehold/control.sock", f"{self.home}/control.sock"),
            (r"(?m)^port = 1883$", f"port = {self.broker.port}"),
            (r"/etc/curehold/curehold.password", str(self.broker.password_file("curehold"))),
            (r'host = "192.0.2.10"', 'host = "127.0.0.1"'),
            (r"(?m)^port = 502$", f"port = {self.modbus_port}"),
            (r"(?m)^hold_min = 150.0", f"hold_min = {hold_min}"),
        ):
            text, changed = re.subn(pattern, value, text)
            assert changed == 1, pattern
        rig = text[text.index("[rigs.bay-2.facts]") :]
        for number in range(1, rigs):
            more = rig.replace("bay-2", f"bay-{number + 2}").replace("BAY 2", f"BAY {number + 2}")
            text += re.sub(
                r"(?m)^unit = (\d+)$", lambda unit, n=number: f"unit = {n}{unit[1]}", more
            )
        text += f"\n[pretend]\nport = {self.pace_port}\n"
        self.config_path.write_text(rewired(text))
        return load(self.config_path)

    @contextmanager
    def supervised(self) -> Iterator["subprocess.Popen[str]"]:
        """A daemon, running; killed at the end if it still is."""
        with (self.home / "daemon.log").open("a") as log:
            command = [*CUREHOLD, "supervise", str(self.config_path), "--log", "json"]
            daemon = subprocess.Popen(command, stdout=log, stderr=log, text=True)
            try:
                yield daemon
            finally:
                if daemon.poll() is None:
                    daemon.kill()
                daemon.wait()

    def run_to_the_end(self) -> None:
        """Supervise until the plant's story is over."""
        with self.supervised() as daemon:
            assert daemon.wait(END_S_MAX) == 0, self.log()

    def reader(self) -> StoreReader:
        return StoreReader(self.home / "curehold.db")

    def log(self) -> str:
        return (self.home / "daemon.log").read_text()

    def curehold(self, *arguments: str) -> "subprocess.CompletedProcess[str]":
        """One `curehold` command with this configuration."""
        command, *rest = arguments
        line = [*CUREHOLD, command, "--config", str(self.config_path), *rest]
        return subprocess.run(line, capture_output=True, text=True, timeout=60, check=False)

    def status(self, rig: str = "bay-2") -> dict[str, Any]:
        """A rig's state as the daemon tells it."""
        shown = self.curehold("status", "--json")
        assert shown.returncode in (0, 1), shown.stderr
        states = [json.loads(line) for line in shown.stdout.splitlines()]
        return next(state for state in states if state["rig"] == rig)


@contextmanager
def opened(home: Path, scenario: str, *more: str) -> Iterator[Workshop]:
    """A workshop with a plant in lockstep, as fast as the daemon goes."""
    broker = Broker(home)
    broker.start()
    command = [sys.executable, "-m", "simulator", "--scenario", scenario, "--pace", "lockstep"]
    with (home / "plant.log").open("w") as log:
        plant = subprocess.Popen([*command, *more], stdout=subprocess.PIPE, stderr=log, text=True)
        try:
            yield Workshop(home, broker, plant)
        finally:
            plant.terminate()
            plant.wait(10)
            assert plant.stdout is not None
            plant.stdout.close()
            broker.stop()


@contextmanager
def subscriber(broker: Broker, *topics: str) -> Iterator["subprocess.Popen[str]"]:
    """`mosquitto_sub`, an independent program, subscribed when this returns."""
    wanted = [part for topic in topics for part in ("-t", topic)]
    before = broker.log().count("Sending SUBACK")
    listener = subprocess.Popen(
        [
            "mosquitto_sub",
            *("-h", "127.0.0.1", "-p", str(broker.port), "-V", "mqttv5", "-q", "1"),
            *("-u", "bay-2-phone", "-P", broker.password_of("bay-2-phone")),
            *("-F", "%t %p", *wanted),
        ],
        stdout=subprocess.PIPE,
        text=True,
    )
    assert listener.stdout is not None
    try:
        broker.wait_for_log("Sending SUBACK", after=before)
        yield listener
    finally:
        listener.terminate()
        listener.wait(10)
        listener.stdout.close()


def heard(listener: "subprocess.Popen[str]") -> list[tuple[str, dict[str, Any]]]:
    """Everything a subscriber has heard; it is ended by this."""
    listener.terminate()
    assert listener.stdout is not None
    found = []
    for line in listener.stdout:
        topic, _, payload = line.partition(" ")
        if payload.startswith("{"):
            found.append((topic, json.loads(payload)))
    return found
