"""What the link needs of a chip, and where the kernel's own comes in; the library is optional."""

from collections.abc import Callable
from typing import Protocol

from drivers.base import LinkDown
from drivers.gpio.codec import Edge
from drivers.gpio.registers import Wanted

NOT_INSTALLED = (
    "pins need the library gpiod, which is not installed; install curehold[gpio], or remove this "
    "link"
)


class Lines(Protocol):
    """Lines of one chip, asked for and ours until released."""

    @property
    def fd(self) -> int:
        """Readable when there are edges, or when the chip is gone."""

    def edges(self) -> list[Edge]:
        """Edges that came and were not yet taken; never waits.

        Raises:
            OSError: the chip is gone.
        """

    def levels(self) -> dict[str, bool]:
        """Whether each input and output is on now, by point name.

        Raises:
            OSError: the chip is gone.
        """

    def set(self, name: str, *, on: bool) -> None:
        """Switch one output.

        Raises:
            OSError: the chip is gone.
        """

    def release(self) -> None:
        """Give the lines back; twice is no error."""


Request = Callable[[Wanted], Lines]


def request(wanted: Wanted) -> Lines:
    """Ask the kernel for the lines; outputs begin as off.

    Raises:
        LinkDown: no such chip or line, in use by another, or no gpiod.
    """
    try:
        from drivers.gpio import chip  # noqa: PLC0415 - gpiod is an extra, only this needs it
    except ImportError as error:
        raise LinkDown(NOT_INSTALLED) from error
    return chip.request(wanted)
