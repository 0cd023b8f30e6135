"""To a real Mosquitto over TLS, and `watch`; certificates made here and thrown away."""

import asyncio
import subprocess
from contextlib import suppress
from pathlib import Path
from shutil import which

import aiomqtt
import pytest
from structlog.testing import capture_logs
from structlog.typing import EventDict

from daemon.notify.settings import MqttSettings
from daemon.tools.watch import JsonWatcher, WatchError, watch
from tests.e2e.broker import Broker, free_port
from tests.e2e.mqtt_link import SITE, MemoryOutbox, linked, until

GUARD_S = 10.0

pytestmark = pytest.mark.skipif(which("openssl") is None, reason="apt install openssl")


def certificate(home: Path, name: str) -> Path:
    """A certificate for 127.0.0.1 that vouches for itself, and its key."""
    ask = (
        "openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -days 2 "
        "-subj /CN=127.0.0.1 -addext subjectAltName=IP:127.0.0.1"
    )
    files = ["-keyout", str(home / f"{name}.key"), "-out", str(home / f"{name}.crt")]
    subprocess.run([*ask.split(), *files], check=True, capture_output=True)
    return home / f"{name}.crt"


def with_tls(home: Path) -> tuple[Broker, int]:
    broker = Broker(home)
    port = free_port()
    listener = (
        f"listener {port} 127.0.0.1\ncafile {home}/broker.crt\n"
        f"certfile {home}/broker.crt\nkeyfile {home}/broker.key\ntls_version tlsv1.2\n"
    )
    with (home / "broker.conf").open("a") as configuration:
        configuration.write(listener)
    return broker, port


@pytest.mark.parametrize(("believed", "delivered"), [("broker", True), ("stranger", False)])
async def test_only_a_broker_we_can_believe_gets_anything(
    tmp_path: Path, believed: str, *, delivered: bool
) -> None:
    ours = {name: certificate(tmp_path, name) for name in ("broker", "stranger")}
    broker, port = with_tls(tmp_path)
    broker.start()
    outbox = MemoryOutbox()
    outbox.put("secret")
    try:
        with capture_logs() as logs:
            async with linked(broker, outbox, port=port, tls_ca_file=ours[believed]):
                await until(lambda: bool(outbox.done or _offline(logs)))
    finally:
        broker.stop()
    assert bool(outbox.done) is delivered
    assert ("certificate verify failed" in _offline(logs)) is not delivered


@pytest.mark.parametrize("believed", ["broker", "stranger"])
async def test_watch_shows_its_password_only_to_a_broker_we_can_believe(
    tmp_path: Path, believed: str
) -> None:
    ours = {name: certificate(tmp_path, name) for name in ("broker", "stranger")}
    broker, port = with_tls(tmp_path)
    broker.start()
    settings = MqttSettings(
        port=port,
        username="board",
        password_file=broker.password_file("board"),
        tls_ca_file=ours[believed],
    )
    try:
        following = asyncio.create_task(watch(settings, SITE, None, JsonWatcher()))
        if believed == "stranger":
            with pytest.raises(WatchError, match="certificate verify failed"):
                await following
            assert "u'board'" not in broker.log()
            return
        await asyncio.to_thread(broker.wait_for_log, "Sending SUBACK")
        assert not following.done()
        assert "u'board'" in broker.log()
        following.cancel()
        await asyncio.wait((following,))
    finally:
        broker.stop()


async def test_watch_ends_when_stopped_as_the_broker_answers(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What asyncio.wait_for of Python 3.11 does below aiomqtt: the cancellation is dropped."""
    answered = asyncio.Event()
    subscribe = aiomqtt.Client.subscribe

    async def losing(client: aiomqtt.Client, topic: str, qos: int) -> object:
        codes = await subscribe(client, topic, qos=qos)
        answered.set()
        with suppress(asyncio.CancelledError):
            await asyncio.Event().wait()
        return codes

    monkeypatch.setattr(aiomqtt.Client, "subscribe", losing)
    broker = Broker(tmp_path)
    broker.start()
    settings = MqttSettings(
        port=broker.port, username="board", password_file=broker.password_file("board")
    )
    try:
        following = asyncio.create_task(watch(settings, SITE, None, JsonWatcher()))
        await answered.wait()
        following.cancel()
        async with asyncio.timeout(GUARD_S):
            await asyncio.wait((following,))
        assert following.cancelled()
    finally:
        broker.stop()


def _offline(logs: list[EventDict]) -> str:
    return " ".join(entry["error"] for entry in logs if entry["event"] == "mqtt.offline")
