"""The words of a message: rig first, how soon, what to do with the air, what, since.

Source:
    This project's design; basic characters only (3GPP TS 23.038), so that the
    same words fit a short message.
"""

from rules.events import Level
from rules.frame import NS_PER_S, Frame
from rules.hazards.base import Row, Urgency

SHORT_MAX = 160


def clock_time(wall_ns: int, utc_offset_s: int) -> str:
    """Local hours and minutes, `hh:mm`.

    Source:
        Own method.
    """
    minutes = (wall_ns // NS_PER_S + utc_offset_s) // 60
    return f"{minutes // 60 % 24:02d}:{minutes % 60:02d}"


def alarm_text(
    title: str, row: Row, level: Level, said: str, frame: Frame, *, watch_only: bool
) -> str:
    """The message of an alarm, at most 160 basic characters.

    Args:
        title: the rig's name.
        row: the hazard's row.
        level: warn or trip.
        said: what was seen.
        frame: the frame; its local time is when the message was made.
        watch_only: this program has no power over the heat of this rig.

    Source:
        This project's design: "HEAT CUT. KEEP AIR ON. Do not open."
    """
    tripped = level is Level.TRIP
    urgency = row.trip_urgency if tripped else row.warn_urgency
    when = clock_time(frame.wall_ns, frame.utc_offset_s)
    soon = f"{urgency.value} {when}" if urgency is Urgency.GO_BY else urgency.value
    heat = ("SWITCH HEAT OFF. " if watch_only else "HEAT CUT. ") if tripped else ""
    do = row.trip_do if tripped else row.warn_do
    return shortened(f"{title} {soon}: {heat}{do} {said}. Since {when}.")


def follower_text(title: str, row: Row, leader: Row, said: str) -> str:
    """The message of an alarm that came with another: it gives no orders of its own.

    Args:
        title: the rig's name.
        row: the hazard's row.
        leader: the row of the hazard that brought it.
        said: what was seen.

    Source:
        This project's design: one message with burst.
    """
    return shortened(f"{title}: with {leader.title}: {row.title}. {said}.")


def cleared_text(title: str, row: Row, frame: Frame) -> str:
    """The message that an alarm is over.

    Source:
        Own words.
    """
    when = clock_time(frame.wall_ns, frame.utc_offset_s)
    return shortened(f"{title}: over at {when}: {row.title}.")


def prompt_text(title: str, said: str) -> str:
    """The message of a prompt; a prompt is no alarm.

    Source:
        Own words.
    """
    return shortened(f"{title}: {said}.")


def shortened(text: str) -> str:
    """The text cut to 160 characters, with dots where it was cut.

    Source:
        3GPP TS 23.040: 160 characters of the basic alphabet in one message.
    """
    return text if len(text) <= SHORT_MAX else text[: SHORT_MAX - 3] + "..."
