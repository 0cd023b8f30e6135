"""A real Mosquitto on loopback, with the configuration, rights and accounts we deploy."""

import asyncio
import os
import re
import signal
import socket
import subprocess
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from shutil import which

import aiomqtt

DEPLOY = Path(__file__).parents[2] / "deploy" / "mosquitto"
ACCOUNTS = ("curehold", "board", "bay-2-phone")
SBIN = "/usr/sbin:/usr/local/sbin"


class Broker:
    """One broker process at a time, always on the same port and files."""

    def __init__(self, home: Path) -> None:
        self.home = home
        self.port = free_port()
        self._process: subprocess.Popen[str] | None = None
        subprocess.run(
            ["sh", str(DEPLOY / "make-users.sh"), str(home), *ACCOUNTS],
            check=True,
            capture_output=True,
        )
        (home / "acl").write_text((DEPLOY / "acl").read_text())
        self._write_configuration()

    def _write_configuration(self) -> None:
        text = (DEPLOY / "curehold.conf").read_text()
        text = text.replace("/etc/mosquitto/curehold/", f"{self.home}/")
        text, changed = re.subn(
            r"(?m)^listener 1883 127\.0\.0\.1$", f"listener {self.port} 127.0.0.1", text
        )
        assert changed == 1
        # Debian's own file says these two; run as root, Mosquitto would drop to
        # a user who may not enter the test's directory.
        text += f"persistence_location {self.home}/\nlog_dest stderr\nlog_type all\n"
        if os.geteuid() == 0:
            text += "user root\n"
        (self.home / "broker.conf").write_text(text)

    def start(self) -> None:
        """Start it and return when it listens."""
        program = which("mosquitto", path=f"{os.environ.get('PATH', '')}:{SBIN}")
        assert program, "mosquitto is missing: apt install mosquitto"
        log = self.home / "broker.log"
        with log.open("w") as stderr:
            self._process = subprocess.Popen(
                [program, "-c", str(self.home / "broker.conf")],
                stderr=stderr,
                stdout=subprocess.DEVNULL,
                text=True,
            )
        self.wait_for_log(" running")

    def kill(self) -> None:
        """End it as a power loss would."""
        self._signal_and_wait(signal.SIGKILL)

    def stop(self) -> None:
        """End it if it runs."""
        if self._process is not None:
            self._signal_and_wait(signal.SIGTERM)

    def freeze(self) -> None:
        """It keeps its connections and says nothing more."""
        self._running.send_signal(signal.SIGSTOP)

    def thaw(self) -> None:
        """It goes on."""
        self._running.send_signal(signal.SIGCONT)

    def deny(self, topic: str) -> None:
        """Take the right to write a topic away from the daemon."""
        self._change_rights(f"topic write {topic}\n", f"# denied: {topic}\n")

    def allow(self, topic: str) -> None:
        """Give it back."""
        self._change_rights(f"# denied: {topic}\n", f"topic write {topic}\n")

    def _change_rights(self, before: str, after: str) -> None:
        acl = self.home / "acl"
        text = acl.read_text()
        assert text.count(before) == 1, f"{before!r} is not in the rights we deploy"
        acl.write_text(text.replace(before, after))
        if self._process is not None:
            seen = self.log().count("Reloading config")
            self._running.send_signal(signal.SIGHUP)
            self.wait_for_log("Reloading config", after=seen)

    def password_of(self, account: str) -> str:
        return self.password_file(account).read_text().strip()

    def password_file(self, account: str) -> Path:
        return self.home / f"{account}.password"

    def client(self, account: str) -> aiomqtt.Client:
        """A client of an account, made with plain aiomqtt."""
        return aiomqtt.Client(
            "127.0.0.1",
            self.port,
            username=account,
            password=self.password_of(account),
            protocol=aiomqtt.ProtocolVersion.V5,
        )

    @property
    def _running(self) -> "subprocess.Popen[str]":
        assert self._process is not None
        return self._process

    def _signal_and_wait(self, number: signal.Signals) -> None:
        self._running.send_signal(number)
        self._running.wait(10)
        self._process = None

    def log(self) -> str:
        return (self.home / "broker.log").read_text()

    def wait_for_log(self, text: str, *, after: int = 0) -> None:
        """Wait until the log holds `text` more often than `after`."""
        for _ in range(500):
            if self.log().count(text) > after:
                return
            try:
                code = self._running.wait(0.01)
            except subprocess.TimeoutExpired:
                continue
            raise AssertionError(f"mosquitto ended with {code}: {self.log()}")
        raise AssertionError(f"mosquitto never said {text!r}: {self.log()}")


class Wire:
    """A TCP wire between the link and the broker that a test can cut."""

    def __init__(self, to_port: int) -> None:
        self._to_port = to_port
        self._server: asyncio.Server | None = None
        self._pumps: set[asyncio.Task[None]] = set()
        self.port = 0

    async def lay(self) -> None:
        self._server = await asyncio.start_server(self._join, "127.0.0.1", self.port)
        self.port = self._server.sockets[0].getsockname()[1]

    async def cut(self) -> None:
        """Break every connection without a goodbye, and take no new one."""
        assert self._server is not None
        self._server.close()
        await self._server.wait_closed()
        for pump in self._pumps:
            pump.cancel()
        await asyncio.gather(*self._pumps, return_exceptions=True)

    async def _join(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        far_reader, far_writer = await asyncio.open_connection("127.0.0.1", self._to_port)
        for source, sink in ((reader, far_writer), (far_reader, writer)):
            pump = asyncio.ensure_future(_pump(source, sink))
            self._pumps.add(pump)


async def _pump(source: asyncio.StreamReader, sink: asyncio.StreamWriter) -> None:
    try:
        while data := await source.read(4096):
            sink.write(data)
            await sink.drain()
    finally:
        sink.transport.abort()


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@asynccontextmanager
async def running(home: Path) -> AsyncIterator[Broker]:
    broker = Broker(home)
    broker.start()
    try:
        yield broker
    finally:
        broker.stop()
