"""A board that sends lines, in a process of its own; it sends one when told.

python -m tests.bench.board PATH
"""

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from drivers.serial_lines.fake import FakeBoard

VALUES = {f"pad_{number}": f"{20 + number}.5" for number in range(16)}
SAY = b"s"


class Board:
    """The other end of that process.

    Attributes:
        path: of its serial port.
        said: how many lines it was told to send.
    """

    def __init__(self, path: str, told: int) -> None:
        self.path = path
        self.said = 0
        self._told = told

    def say(self) -> None:
        """Send one line."""
        self.said += 1
        os.write(self._told, SAY)


@contextmanager
def board(path: Path) -> Iterator[Board]:
    """Such a process, running."""
    command = [sys.executable, "-m", "tests.bench.board", str(path)]
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
    with subprocess.Popen(command, **pipes) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        process.stdout.readline()
        # Leaving the block closes its standard input, and with that it ends.
        yield Board(str(path), process.stdin.fileno())


def _obey(path: Path) -> None:
    fake = FakeBoard(path, VALUES)
    fake.plug()
    sys.stdout.write("ready\n")
    sys.stdout.flush()
    while os.read(sys.stdin.fileno(), 1):
        fake.say()
    fake.unplug()


if __name__ == "__main__":
    _obey(Path(sys.argv[1]))
