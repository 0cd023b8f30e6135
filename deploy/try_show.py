"""Shows the main job: pretend rig, broker, daemon, and what a phone would see.

Run by `deploy/try.sh`. Everything it starts is a real part of the project or a
real broker; all of it listens on this computer only and ends with this program.
"""

import fcntl
import json
import os
import shutil
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parent
HOME = ROOT / ".cache" / "try"
CUREHOLD = Path(sys.executable).with_name("curehold")
SPEED = 180
ACCOUNTS = ("curehold", "board", "bay-2-phone")
START_S_MAX = 20.0
LOOK_S = 0.05
SUBSCRIPTIONS = 3  # of one watcher: states, events, alarms


class TryError(Exception):
    """Something did not start; the message says what and where to look."""


def free_port() -> int:
    """A TCP port nobody listens on now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def started(
    name: str, command: list[str], *, piped: bool = False
) -> Iterator[subprocess.Popen[str]]:
    """A child that ends, whatever happens, when the block does."""
    with (HOME / f"{name}.log").open("w") as log:
        child = subprocess.Popen(  # noqa: S603  # our own programs, no shell
            command,
            stdout=subprocess.PIPE if piped else log,
            stderr=log,
            stdin=subprocess.DEVNULL,
            text=True,
            # Ctrl-C is ours to pass on, in order.
            start_new_session=True,
        )
        try:
            yield child
        finally:
            end(child)


def end(child: "subprocess.Popen[str]", by: signal.Signals = signal.SIGTERM) -> None:
    """Ask a child to end, and make it so."""
    if child.poll() is None:
        child.send_signal(by)
    try:
        child.wait(timeout=10)
    except subprocess.TimeoutExpired:
        child.kill()
        child.wait()
    if child.stdout is not None:
        child.stdout.close()


def broker_command(port: int) -> list[str]:
    """Accounts, rights and configuration as deployed, on a port of its own."""
    home = HOME / "broker"
    home.mkdir()
    made = subprocess.run(  # noqa: S603  # our own script
        ["/bin/sh", str(HERE / "mosquitto" / "make-users.sh"), str(home), *ACCOUNTS],
        check=False,
        capture_output=True,
        text=True,
    )
    if made.returncode:
        raise TryError(f"the broker's accounts cannot be made: {made.stderr.strip()}")
    shutil.copy(HERE / "mosquitto" / "acl", home / "acl")
    text = (HERE / "mosquitto" / "curehold.conf").read_text()
    text = text.replace("/etc/mosquitto/curehold/", f"{home}/")
    text = text.replace("listener 1883 127.0.0.1", f"listener {port} 127.0.0.1")
    text = text.replace("persistence true", "persistence false")
    text += "\nlog_dest stderr\nlog_type all\n"  # to see who has subscribed
    if os.geteuid() == 0:
        text += "\nuser root\n"  # else it could not enter this folder
    (home / "broker.conf").write_text(text)
    program = shutil.which("mosquitto", path=f"{os.environ.get('PATH', '')}:/usr/sbin")
    if program is None:
        raise TryError("mosquitto is missing; run this by: sh deploy/try.sh")
    return [program, "-c", str(home / "broker.conf")]


def configuration(broker_port: int, modbus_port: int, pace_port: int) -> Path:
    """The example configuration, pointed at the pretend rig."""
    text = (HERE / "curehold.example.toml").read_text()
    for old, new in (
        ("/var/lib/curehold/curehold.db", str(HOME / "curehold.db")),
        ("/run/curehold/control.sock", str(HOME / "control.sock")),
        ("port = 1883", f"port = {broker_port}"),
        ("/etc/curehold/curehold.password", str(HOME / "broker" / "curehold.password")),
        ('host = "192.0.2.10"', 'host = "127.0.0.1"'),
        ("port = 502\n", f"port = {modbus_port}\n"),
    ):
        if old not in text:
            raise TryError(f"deploy/curehold.example.toml no longer says {old!r}")
        text = text.replace(old, new)
    daemon = HOME / "shop.toml"
    daemon.write_text(text + f"\n[pretend]\nport = {pace_port}\n")
    phone = HOME / "phone.toml"
    phone.write_text(
        daemon.read_text()
        .replace('username = "curehold"', 'username = "bay-2-phone"')
        .replace("curehold.password", "bay-2-phone.password")
    )
    return daemon


def wait_until_said(part: str, text: str, count: int, child: "subprocess.Popen[str]") -> None:
    """Return when a part's log says something so many times; `child` must live meanwhile."""
    log = HOME / f"{part}.log"
    for _ in range(round(START_S_MAX / LOOK_S)):
        if log.read_text().count(text) >= count:
            return
        try:
            code = child.wait(LOOK_S)
        except subprocess.TimeoutExpired:
            continue
        raise TryError(f"a part ended with {code} too early; see the logs in {HOME}")
    raise TryError(f"{part} did not say {text!r} in {START_S_MAX:.0f} s; see {log}")


def ports_of(plant: "subprocess.Popen[str]") -> tuple[int, int]:
    """Where the plant serves, from its first line."""
    assert plant.stdout is not None  # noqa: S101  # it was started with a pipe
    line = plant.stdout.readline()
    if not line:
        raise TryError(f"the pretend rig did not start; see {HOME / 'plant.log'}")
    ready = json.loads(line)
    return ready["modbus_port"], ready["pace_port"]


@contextmanager
def alone() -> Iterator[None]:
    """Nobody else shows anything in this folder: a second one would clear it away."""
    HOME.parent.mkdir(exist_ok=True)
    with HOME.with_suffix(".lock").open("w") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise TryError("it runs in this folder already; let that one end first") from error
        yield


def show(scenario: str) -> int:
    """Start everything, follow it through the broker, end everything."""
    shutil.rmtree(HOME, ignore_errors=True)
    HOME.mkdir(parents=True)
    broker_port = free_port()
    with ExitStack() as parts:
        broker = parts.enter_context(started("broker", broker_command(broker_port)))
        wait_until_said("broker", " running", 1, broker)
        plant = parts.enter_context(
            started(
                "plant",
                [
                    str(CUREHOLD),
                    "simulate",
                    "--scenario",
                    scenario,
                    "--pace",
                    f"lockstep={SPEED}",
                ],
                piped=True,
            )
        )
        config = configuration(broker_port, *ports_of(plant))
        phone = [str(CUREHOLD), "watch", "--config", str(HOME / "phone.toml"), "--rig", "bay-2"]
        print(  # noqa: T201  # this program talks to a person
            f"PRETEND RIG, nothing is heated. 1 s = {SPEED // 60} min. Ctrl-C stops all.",
            flush=True,
        )
        with subprocess.Popen(phone, start_new_session=True, text=True) as watcher:  # noqa: S603  # our own program
            try:
                # Else the first press would be over before anybody listens.
                wait_until_said("broker", "Sending SUBACK", SUBSCRIPTIONS, watcher)
                command = [str(CUREHOLD), "supervise", str(config)]
                daemon = parts.enter_context(started("daemon", command))
                code = daemon.wait()
                if broker.poll() is not None or code:
                    raise TryError(f"the daemon ended with {code}; see {HOME / 'daemon.log'}")
            finally:
                end(watcher, signal.SIGINT)  # as a person would leave it
    print_ending(config)
    return 0


def print_ending(config: Path) -> None:
    """What is on record now."""
    runs = [str(CUREHOLD), "runs", "--config", str(config)]
    subprocess.run(runs, check=True)  # noqa: S603  # our own program
    listed = subprocess.run([*runs, "--json"], check=True, capture_output=True, text=True)  # noqa: S603  # our own program
    newest = len(listed.stdout.splitlines())
    program = f"CUREHOLD_CONFIG={os.path.relpath(config)} {os.path.relpath(CUREHOLD)}"
    print(f"Trace:   {program} export {newest}")  # noqa: T201  # this program talks to a person
    print(f"Replay:  {program} replay {newest}")  # noqa: T201  # this program talks to a person


def main() -> int:
    """Run; 0 when all went well, 1 when something did not start, 130 on Ctrl-C."""
    signal.signal(signal.SIGTERM, lambda *_: (_ for _ in ()).throw(KeyboardInterrupt()))
    try:
        with alone():
            return show(sys.argv[1] if len(sys.argv) > 1 else "demo")
    except KeyboardInterrupt:
        print("\nstopped; nothing is left running.", file=sys.stderr)  # noqa: T201  # this program talks to a person
        return 130
    except TryError as error:
        print(f"try: {error}", file=sys.stderr)  # noqa: T201  # this program talks to a person
        return 1


if __name__ == "__main__":
    sys.exit(main())
