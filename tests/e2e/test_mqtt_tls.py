"""The link over TLS to a real Mosquitto; certificates made here and thrown away."""

import subprocess
from pathlib import Path
from shutil import which

import pytest
from structlog.testing import capture_logs
from structlog.typing import EventDict

from tests.e2e.broker import Broker, free_port
from tests.e2e.mqtt_link import MemoryOutbox, linked, until

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


def _offline(logs: list[EventDict]) -> str:
    return " ".join(entry["error"] for entry in logs if entry["event"] == "mqtt.offline")
