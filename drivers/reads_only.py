"""What links that only read have in common."""

from collections.abc import Mapping
from typing import NoReturn

from drivers.base import DeviceClosed, Sample


class ReadsOnly:
    """A link's samples, and no to whoever would write.

    Attributes:
        name: for messages and statistics.
    """

    def __init__(self, name: str, points: Mapping[str, object], opened_ns: int) -> None:
        """Nothing was read yet.

        Args:
            name: for messages and statistics.
            points: by name.
            opened_ns: now.
        """
        self.name = name
        self._samples = {key: Sample(None, "bad", "never_read", opened_ns) for key in points}
        self._closed = False

    def snapshot(self) -> Mapping[str, Sample]:
        """The newest sample by point name; after `close` all are bad."""
        return dict(self._samples)

    async def write(self, point: str, *, on: bool) -> NoReturn:
        """Refuse: there is nothing to write.

        Raises:
            DeviceClosed: the link was closed.
            KeyError: always otherwise.
        """
        self._check_open()
        raise KeyError(f"{point} = {on}: link {self.name} only reads")

    def renew(self, token: str) -> None:
        """Nothing is held on here."""

    def _check_open(self) -> None:
        if self._closed:
            raise DeviceClosed(f"link {self.name} was closed; open a new one")
