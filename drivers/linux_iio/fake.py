"""A made tree of sysfs with devices that come, go and hang; for tests.

Real folders, symbolic links and files, laid out as the kernel does it; a file
that hangs is a FIFO nobody writes to, one that fails with EIO is the kernel's own
view of memory at an address where there is none. ETIMEDOUT and EREMOTEIO, also
given by buses, cannot be had here.
"""

import os
import shutil
from collections.abc import Mapping
from pathlib import Path

_PLACES = {"iio": ("bus/iio/devices", "iio:device"), "hwmon": ("class/hwmon", "hwmon")}


class FakeSysfs:
    """The tree.

    Attributes:
        root: for the setting `sysfs`.
    """

    def __init__(self, root: Path) -> None:
        """An empty tree below `root`."""
        self.root = root
        self._held: dict[Path, bytes] = {}
        for place, _ in _PLACES.values():
            (root / place).mkdir(parents=True)

    def plug(
        self,
        subsystem: str,
        number: int,
        name: str,
        files: Mapping[str, str],
        bus_address: str = "1-0048",
    ) -> Path:
        """A device appears; returns its folder."""
        place, prefix = _PLACES[subsystem]
        owner = self.root / "devices" / "platform" / bus_address
        folder = (owner if subsystem == "iio" else owner / "hwmon") / f"{prefix}{number}"
        folder.mkdir(parents=True)
        for file, text in {"name": name, **files}.items():
            (folder / file).write_text(f"{text}\n")
        link = self.root / place / folder.name
        # Last, as the kernel does: whoever finds a device finds it whole.
        link.symlink_to(os.path.relpath(folder, link.parent))
        return folder

    def unplug(self, folder: Path) -> None:
        """A device goes, with all its files."""
        for place, _ in _PLACES.values():
            (self.root / place / folder.name).unlink(missing_ok=True)
        shutil.rmtree(folder)

    def fail(self, file: Path) -> None:
        """Reading this file fails with EIO until it is written anew by `mend`."""
        self._held[file] = file.read_bytes()
        file.unlink()
        file.symlink_to("/proc/self/mem")

    def mend(self, file: Path) -> None:
        """The file is again what it was before `fail`."""
        file.unlink()
        file.write_bytes(self._held.pop(file))

    def hang(self, file: Path) -> None:
        """Reading this file does not end until `release`."""
        self._held[file] = file.read_bytes()
        file.unlink()
        os.mkfifo(file)

    def release(self, file: Path, text: bytes | None = None) -> None:
        """End the reads that hang, with `text`, and make the file what it was."""
        was = self._held.pop(file)
        # Opened for both, it waits for nobody; whoever reads gets what is written.
        pipe = os.open(file, os.O_RDWR | os.O_NONBLOCK)
        try:
            held = file.with_name(f"{file.name}.new")
            held.write_bytes(was)
            os.write(pipe, was if text is None else text)
            held.replace(file)
        finally:
            os.close(pipe)
