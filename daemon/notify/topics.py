"""Topic names: one tree, `curehold/1/<site>/...`; the 1 is the schema version."""

import re
from dataclasses import dataclass

ROOT = "curehold/1"
NAME_PATTERN = r"^[a-z0-9-]{1,24}$"
# `<root>/<site>/daemon` is the daemon's own topic; a rig of that name would read like it.
RESERVED = "daemon"


def check_name(what: str, name: str) -> str:
    """Give back a site's or rig's name if it may stand in a topic.

    Args:
        what: `site` or `rig`, for the error.
        name: the name.

    Raises:
        ValueError: it may not; says why and what would be right.
    """
    if not re.fullmatch(NAME_PATTERN, name):
        raise ValueError(
            f"{what} = {name!r} cannot be part of a topic; use 1 to 24 small letters, "
            "digits and hyphens, for instance bay-2"
        )
    if name == RESERVED:
        raise ValueError(f"{what} = {name!r} is the name of the daemon's own topic; choose another")
    return name


@dataclass(frozen=True, slots=True)
class Topics:
    """The topics of one site.

    Attributes:
        site: name of the site.
    """

    site: str

    def __post_init__(self) -> None:
        check_name("site", self.site)

    @property
    def daemon(self) -> str:
        """Whether the daemon is there; retained."""
        return f"{ROOT}/{self.site}/daemon"

    def state(self, rig: str) -> str:
        """What a rig is doing now; retained."""
        return f"{self._rig(rig)}/state"

    def alarm(self, rig: str, tag: str) -> str:
        """One hazard of a rig; retained."""
        return f"{self._rig(rig)}/alarm/{tag}"

    def alarm_life(self, rig: str, tag: str) -> str:
        """Where one hazard's alarm is in its lifecycle; retained."""
        return f"{self._rig(rig)}/alarm_life/{tag}"

    def escalation(self, rig: str) -> str:
        """Nobody came for an alarm, each step once."""
        return f"{self._rig(rig)}/escalation"

    def nuisance(self, rig: str) -> str:
        """Alarms that have become noise, or are none any more."""
        return f"{self._rig(rig)}/nuisance"

    def event(self, rig: str) -> str:
        """Each event of a rig, once."""
        return f"{self._rig(rig)}/event"

    def run(self, rig: str) -> str:
        """The sum of a run, when it closes."""
        return f"{self._rig(rig)}/run"

    def command(self, rig: str) -> str:
        """What a person asks for; comes in."""
        return f"{self._rig(rig)}/command"

    def answer(self, rig: str) -> str:
        """What became of a command."""
        return f"{self._rig(rig)}/answer"

    def _rig(self, rig: str) -> str:
        return f"{ROOT}/{self.site}/{check_name('rig', rig)}"
