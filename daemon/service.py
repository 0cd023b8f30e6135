"""Tells systemd how the service is doing: the notify protocol of sd_notify(3).

A datagram to the socket named in `NOTIFY_SOCKET`; without one, nothing
happens. Nothing here waits: a message that cannot be sent at once is dropped,
for the watchdog is there to notice.
"""

import os
import socket


def ready() -> bool:
    """Say that start-up is over; True if the message was handed over."""
    return _notify("READY=1")


def stopping() -> bool:
    """Say that the service is ending on purpose; True if handed over."""
    return _notify("STOPPING=1")


def alive() -> bool:
    """Feed the watchdog; True if handed over."""
    return _notify("WATCHDOG=1")


def status(text: str) -> bool:
    """Show one line in `systemctl status`; True if handed over."""
    return _notify("STATUS=" + " ".join(text.split()))


def watchdog_period_s() -> float | None:
    """How often to call `alive`, s: half of what systemd allows.

    None when no watchdog is set for this process, or its setting is no number.
    """
    if os.environ.get("WATCHDOG_PID", str(os.getpid())) != str(os.getpid()):
        return None
    usec = os.environ.get("WATCHDOG_USEC", "")
    if not usec.isascii() or not usec.isdigit() or int(usec) == 0:
        return None
    return int(usec) / 1_000_000 / 2


def _notify(message: str) -> bool:
    address = os.environ.get("NOTIFY_SOCKET", "")
    if not address.startswith(("/", "@")):
        return False
    if address.startswith("@"):  # an abstract name, which begins with a null byte
        address = "\0" + address[1:]
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as channel:
        channel.settimeout(0)
        try:
            channel.sendto(message.encode(), address)
        except OSError:
            return False
    return True
