"""Where the broker is and how we sign in; embedded in the daemon's configuration."""

import ssl
import stat
from ipaddress import ip_address
from pathlib import Path
from typing import Self

from pydantic import BaseModel, Field, model_validator

from rules.facts import STRICT

PASSWORD_BYTES_MAX = 1024


class MqttSettings(BaseModel):
    """Settings of the link to the MQTT broker.

    Attributes:
        host: name or address of the broker.
        port: its port; 1883 is plain, 8883 is TLS by custom.
        username: as the broker knows the daemon; None: sign in without a name.
        password_file: holds the password and nothing else; not readable by
            everyone on this computer.
        client_id: as the broker tells its clients apart; two daemons with one
            id throw each other out. None: `curehold-<site>`.
        keepalive_s: the broker takes us for lost, and sends the last will,
            after one and a half times this silence.
        reconnect_s_max: longest wait between two attempts to connect.
        retry_s_max: longest wait between two attempts at a refused message.
        tls_ca_file: certificates by which the broker is believed; None: plain.
        late_after_s: a message that has waited this long for the broker is late,
            and `delivery.failing` tells so at the rig.
        delivery_timeout_s: a broker that has not answered in this time is
            taken for lost.
    """

    model_config = STRICT

    host: str = Field(default="127.0.0.1", min_length=1, max_length=253)
    port: int = Field(default=1883, ge=1, le=65535)
    username: str | None = Field(default=None, min_length=1, max_length=64)
    password_file: Path | None = Field(default=None, strict=False)
    client_id: str | None = Field(default=None, min_length=1, max_length=64)
    keepalive_s: int = Field(default=20, ge=5, le=600)
    reconnect_s_max: float = Field(default=30.0, ge=0.1, le=600)
    retry_s_max: float = Field(default=60.0, ge=0.1, le=3600)
    tls_ca_file: Path | None = Field(default=None, strict=False)
    late_after_s: float = Field(default=300.0, ge=30, le=86400)
    delivery_timeout_s: float = Field(default=10.0, ge=0.5, le=60)

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        if self.username is None and self.password_file is not None:
            raise ValueError("password_file is given without username; give both or neither")
        if self.username is not None and self.password_file is None:
            raise ValueError("username is given without password_file; give both or neither")
        return self

    @property
    def readable_on_the_way(self) -> bool:
        """Whether password and messages cross a network unencrypted."""
        if self.tls_ca_file is not None or self.host == "localhost":
            return False
        try:
            return not ip_address(self.host).is_loopback
        except ValueError:
            return True

    def tls(self) -> ssl.SSLContext | None:
        """How to talk TLS, with the certificates read from their file now; None: plain.

        Raises:
            ValueError: the file is not there or holds no certificates; says
                what to do.
        """
        path = self.tls_ca_file
        if path is None:
            return None
        try:
            context = ssl.create_default_context(cafile=path)
        except OSError as error:  # an unreadable file and a bad certificate alike
            raise ValueError(
                f"tls_ca_file {path}: no certificates to be read there "
                f"({error.strerror or error}); give the PEM file of the authority that signed "
                "the broker's certificate"
            ) from error
        context.sslsocket_class = _ClosingSocket
        return context

    def password(self) -> str | None:
        """The password, read from its file now.

        Raises:
            ValueError: the file is not there, is open to everyone or holds no
                password; says what to do.
        """
        path = self.password_file
        if path is None:
            return None
        try:
            mode = path.stat().st_mode
            content = path.read_bytes() if stat.S_ISREG(mode) else b""
        except OSError as error:
            raise ValueError(
                f"password_file {path}: {error.strerror}; make it with make-users.sh and let the "
                "daemon's user read it"
            ) from error
        if mode & stat.S_IRWXO:
            raise ValueError(
                f"password_file {path}: everyone on this computer may use it "
                f"(mode {stat.S_IMODE(mode):04o}); run: chmod o= {path}"
            )
        return _password_in(path, content)


class _ClosingSocket(ssl.SSLSocket):
    """Closes when the handshake fails; paho then forgets it and leaves it open."""

    def do_handshake(self, block: bool = False) -> None:  # noqa: FBT001, FBT002 - ssl's signature
        try:
            super().do_handshake(block)
        except (OSError, ValueError):
            self.close()
            raise


def _password_in(path: Path, content: bytes) -> str:
    try:
        password = content[: PASSWORD_BYTES_MAX + 1].decode().rstrip("\r\n")
    except UnicodeDecodeError as error:
        raise ValueError(f"password_file {path}: not UTF-8 text; write it anew") from error
    if not password or "\n" in password or len(content) > PASSWORD_BYTES_MAX:
        raise ValueError(
            f"password_file {path}: must be a file that holds the password as its one line, "
            f"at most {PASSWORD_BYTES_MAX} bytes"
        )
    return password
