"""Outputs that are on only while their owner lives; the same for every kind of link."""

from collections.abc import Mapping

from drivers.base import Clock
from drivers.timing import NS_PER_S


class Holding:
    """Which outputs of a link are on, and whose life keeps each of them on.

    A module's own communication time-out is fed by any request, also by those
    for another rig; this is not. It lives in the link, so that it works while
    the owner hangs.
    """

    def __init__(self, tokens: Mapping[str, str], hold_s: float, clock: Clock) -> None:
        """Begin with nothing on; every owner counts as alive now.

        Args:
            tokens: owner by output name.
            hold_s: how long after its owner was last alive an output may stay on, s.
            clock: now.
        """
        self._tokens = dict(tokens)
        self._hold_ns = round(hold_s * NS_PER_S)
        self._clock = clock
        self._renewed_ns = dict.fromkeys(self._tokens.values(), clock.now_ns())
        self._on: dict[str, None] = {}  # the next to be let go first

    def renew(self, token: str) -> None:
        """The owner of `token` is alive; one unknown here does nothing."""
        if token in self._renewed_ns:
            self._renewed_ns[token] = self._clock.now_ns()

    def alive(self, output: str) -> bool:
        """Whether the output's owner was alive less than `hold_s` ago."""
        age_ns = self._clock.now_ns() - self._renewed_ns[self._tokens[output]]
        return age_ns < self._hold_ns

    def on(self, output: str) -> None:
        """The output is on, or may be: whoever closed it, its owner must be alive."""
        self._on.setdefault(output)

    def off(self, output: str) -> None:
        """The output was seen to be written off."""
        self._on.pop(output, None)

    def last(self, output: str) -> None:
        """Letting go of it failed: the others go first next time."""
        if output in self._on:
            self._on[output] = self._on.pop(output)

    def held(self) -> list[str]:
        """Outputs that are on, the next to be let go first."""
        return list(self._on)

    def stale(self) -> list[str]:
        """Outputs that are on and whose owner is not alive, the next to be let go first."""
        return [output for output in self._on if not self.alive(output)]
