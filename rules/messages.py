"""The words of a message: rig first, how soon, heat, what to do with the air, what, since.

Each message has two forms. The short one fits 160 basic characters. What does not
fit is left out in this order: since when; whether the repair can be saved; then
what was seen is cut between two words. The rig, how soon and the orders always stand.
The fuller one, for a page or a mail, adds why, by when, who knows and how to go on.

Where an order is to switch the heat off at the supply, nothing says that heat was
cut: it was not. GO BY without a time known says GO NOW, which errs to the safe side.

Source:
    This project's design; `rules.alphabet` for what fits a short message.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from rules.alphabet import SHORT_MAX, basic, room
from rules.events import Horn, Level
from rules.frame import NS_PER_S, Frame
from rules.hazards.base import Row, Urgency
from rules.message_pages import Facts, page

# A time of day further off than this would be taken for today's.
CLOCK_S_MAX = 20 * 3600.0
SOON_S = 120.0
SUPPLY_OFF = "HEAT OFF AT"


@dataclass(frozen=True, slots=True)
class Told:
    """One message.

    Attributes:
        short: at most 160 basic characters; empty when nobody need be told.
        page: the fuller form, lines of basic characters.
    """

    short: str
    page: str


@dataclass(frozen=True, slots=True)
class Telling:
    """Who tells, when, and with what power.

    Attributes:
        title: the rig's name.
        wall_ns: wall time of the message, ns since 1970.
        utc_offset_s: local time less UTC, s.
        wall_trusted: the clock is set; else the page says that times may be wrong.
        watch_only: this program has no power over the heat of this rig.
    """

    title: str
    wall_ns: int
    utc_offset_s: int = 0
    wall_trusted: bool = True
    watch_only: bool = False

    def clock(self, after_s: float = 0.0) -> str:
        """Local time `after_s` from now, `hh:mm`, cut off to the earlier minute.

        Source:
            Own method.
        """
        return clock_time(self.wall_ns + int(after_s * NS_PER_S), self.utc_offset_s)


@dataclass(frozen=True, slots=True)
class Subject:
    """The alarm that a message is about, as it now is.

    Attributes:
        row: of its hazard.
        level: prompt, warn or trip.
        said: what was seen.
        since_wall_ns: wall time at which it began, ns since 1970.
        go_by_s: as in `Finding`.
        save_s: as in `Finding`.
        horn: pattern it asks for.
        seen_by: who said *seen*, or empty.
        going_by: who said *going*, or empty.
        also: titles of what else stands, oldest first.
        brings: titles of what came with it and gives no orders of its own.
    """

    row: Row
    level: Level
    said: str
    since_wall_ns: int
    go_by_s: float | None = None
    save_s: float | None = None
    horn: Horn = Horn.SILENT
    seen_by: str = ""
    going_by: str = ""
    also: tuple[str, ...] = ()
    brings: tuple[str, ...] = ()


def telling_of(title: str, frame: Frame, *, watch_only: bool) -> Telling:
    """A message made at a frame.

    Args:
        title: the rig's name.
        frame: the frame; its local time is when the message is made.
        watch_only: this program has no power over the heat of this rig.

    Source:
        Own method.
    """
    return Telling(title, frame.wall_ns, frame.utc_offset_s, frame.wall_trusted, watch_only)


def alarm_told(telling: Telling, subject: Subject) -> Told:
    """An alarm that gives orders.

    Args:
        telling: who tells, and when.
        subject: the alarm, at warn or trip.

    Source:
        This project's design: "HEAT CUT. KEEP AIR ON. Do not open."
    """
    orders = _orders(telling, subject)
    return Told(
        _fitted(orders, subject.said, _since(telling, subject), _rescue(telling, subject)),
        _page(telling, subject, orders),
    )


def follower_told(telling: Telling, subject: Subject, leader: Row) -> Told:
    """An alarm that came with another: it gives no orders of its own.

    Args:
        telling: who tells, and when.
        subject: the alarm that came with it.
        leader: the row of the hazard that brought it and says what to do.

    Source:
        This project's design: one message with burst.
    """
    orders = (
        f'{telling.title}: "{subject.row.title}" came with "{leader.title}": do what that says.'
    )
    return Told(_fitted(orders, subject.said), _page(telling, subject, orders))


def escalated_told(telling: Telling, subject: Subject, why: str) -> Told:
    """An alarm for which nobody came, told to more people.

    Args:
        telling: who tells, and when.
        subject: the alarm.
        why: who has not come, in words: "nobody has seen it in 5 min".

    Source:
        This project's design: *seen* is not *going*; nobody pressed, escalate.
    """
    room_left = SHORT_MAX - room(basic(_orders(telling, subject))) - 1
    orders = _orders(telling, subject, _shortened(_sentence(why), room_left))
    return Told(
        _fitted(orders, subject.said, _since(telling, subject), _rescue(telling, subject)),
        _page(telling, subject, orders),
    )


def over_told(telling: Telling, subject: Subject) -> Told:
    """An alarm that is over; if nobody said *seen*, it says so.

    Source:
        IEC 62682 / ISA-18.2: returned to normal unacknowledged.
    """
    unseen = "" if subject.seen_by else " Nobody had seen it."
    text = f'{telling.title}: "{subject.row.title}" is over at {telling.clock()}.'
    lines = [text + unseen, f"It began at {_began(telling, subject)}. {_sentence(subject.said)}"]
    if subject.level is Level.TRIP and not telling.watch_only:
        lines.append("Heat stays off until someone resets it at the rig.")
    if not subject.seen_by:
        lines.append("Find out why it came before you trust the rig with the next repair.")
    return Told(_cut(text + unseen), _lines(lines))


def nuisance_told(telling: Telling, kind: str, row: Row | None, why: str, *, begun: bool) -> Told:
    """An alarm that has become noise, or is none any more.

    Args:
        telling: who tells, and when.
        kind: `chattering`, `stale` or `flood`.
        row: of the hazard; None for a flood.
        why: with figures.
        begun: it has begun; else it is over.

    Source:
        IEC 62682 / ISA-18.2; EEMUA 191 for the rates.
    """
    urgency, what, then = NUISANCE[kind]
    about = f'"{row.title}" {what}' if row else what
    if not begun:
        text = f"{telling.title}: {about}: over at {telling.clock()}."
        return Told(_cut(text), basic(text))
    head = f"{telling.title} {urgency.value}: {_capital(about)}."
    short = _fitted(f"{head} {then}", why)
    return Told(short, _lines([head, then, _sentence(why)]))


NUISANCE = {
    "chattering": (
        Urgency.MORNING,
        "comes and goes",
        "A trip cuts heat each time. Have it mended.",
    ),
    "stale": (
        Urgency.MORNING,
        "has stood over a day",
        "Mend it, or take it out of service and say why.",
    ),
    "flood": (
        Urgency.GO_NOW,
        "too many alarms at once",
        "Begin with the first: it brought the others.",
    ),
}


def out_of_service_told(telling: Telling, row: Row, who: str, why: str, since_wall_ns: int) -> Told:
    """An alarm that somebody took out of service: told when it is, and again as a reminder.

    Args:
        telling: who tells, and when.
        row: of the hazard.
        who: asserted name.
        why: the reason given.
        since_wall_ns: wall time since which, ns since 1970.

    Source:
        IEC 62682 / ISA-18.2, out of service; a trip speaks all the same: this
        project's design.
    """
    head = f'{telling.title}: "{row.title}" is OUT OF SERVICE.'
    since = f"By {who} since {_clock(telling, since_wall_ns)}."
    still = "Nobody is told of a warning; a trip speaks and cuts heat all the same."
    back = "Put it back in service as soon as it is mended."
    lines = [head, f"{since} Reason: {_sentence(why)}", f"If it comes: {row.consequence}."]
    return Told(_fitted(f"{head} {since}", why), _lines([*lines, still, back]))


def in_service_told(telling: Telling, row: Row, who: str) -> Told:
    """An alarm that is back in service.

    Source:
        IEC 62682 / ISA-18.2.
    """
    text = f'{telling.title}: "{row.title}" is back in service at {telling.clock()}, by {who}.'
    return Told(_cut(text), basic(text))


def prompt_told(telling: Telling, said: str, row: Row | None = None) -> Told:
    """A prompt; a prompt is no alarm.

    Args:
        telling: who tells, and when.
        said: what somebody is asked for.
        row: of the hazard behind it, if there is one.

    Source:
        Own words.
    """
    text = f"{telling.title}: {_sentence(said)}"
    lines = [text, "A prompt, no alarm: heat stays as it is."]
    if row is not None:
        lines.append(f"If nobody comes: {row.consequence}.")
    return Told(_cut(text), _lines(lines))


def clock_time(wall_ns: int, utc_offset_s: int) -> str:
    """Local hours and minutes, `hh:mm`.

    Source:
        Own method.
    """
    minutes = (wall_ns // NS_PER_S + utc_offset_s) // 60
    return f"{minutes // 60 % 24:02d}:{minutes % 60:02d}"


def soon(telling: Telling, subject: Subject) -> str:
    """GO NOW, GO BY hh:mm or MORNING WILL DO.

    Source:
        This project's design. By when: `Finding.go_by_s`, to the earlier minute.
    """
    row = subject.row
    urgency = row.trip_urgency if subject.level is Level.TRIP else row.warn_urgency
    if urgency is not Urgency.GO_BY:
        return urgency.value
    if subject.go_by_s is None or subject.go_by_s < SOON_S:
        return Urgency.GO_NOW.value
    return f"{urgency.value} {telling.clock(min(subject.go_by_s, CLOCK_S_MAX))}"


def _orders(telling: Telling, subject: Subject, first: str = "") -> str:
    tripped = subject.level is Level.TRIP
    do = subject.row.trip_do if tripped else subject.row.warn_do
    heat = ""
    if tripped and SUPPLY_OFF not in do:
        heat = "SWITCH HEAT OFF. " if telling.watch_only else "HEAT CUT. "
    head = f"{telling.title} {soon(telling, subject)}:"
    return " ".join(part for part in (head, first, f"{heat}{do}") if part)


def _since(telling: Telling, subject: Subject) -> str:
    return f"Since {_began(telling, subject)}."


def _began(telling: Telling, subject: Subject) -> str:
    return _clock(telling, subject.since_wall_ns)


def _clock(telling: Telling, wall_ns: int) -> str:
    """A time gone by: of the clock, with the day where it would be taken for last night's."""
    at = clock_time(wall_ns, telling.utc_offset_s)
    if telling.wall_ns - wall_ns <= CLOCK_S_MAX * NS_PER_S:
        return at
    days = _day(telling, telling.wall_ns) - _day(telling, wall_ns)
    return (at, f"{at} yesterday")[days] if days < 2 else f"{at}, {days} days ago"


def _day(telling: Telling, wall_ns: int) -> int:
    return (wall_ns // NS_PER_S + telling.utc_offset_s) // 86400


def _rescue(telling: Telling, subject: Subject) -> str:
    if subject.save_s is None:
        return subject.row.rescue
    if subject.save_s <= 0:
        return "The repair is past saving."
    if subject.save_s < SOON_S:
        return "Save the repair now."
    if subject.save_s > CLOCK_S_MAX:
        return "The repair can be saved."
    return f"Save the repair by {telling.clock(subject.save_s)}."


def _page(telling: Telling, subject: Subject, orders: str) -> str:
    facts = Facts(
        orders,
        _sentence(subject.said),
        _began(telling, subject),
        _rescue(telling, subject),
        telling.watch_only,
        telling.wall_trusted,
    )
    return basic(page(subject.row, subject.level, subject.horn, facts, _people(subject)))


def _people(subject: Subject) -> Sequence[str]:
    lines = []
    if subject.brings:
        lines.append(f"Came with it: {'; '.join(subject.brings)}.")
    if subject.also:
        lines.append(f"Also standing, oldest first: {'; '.join(subject.also)}.")
    if not subject.seen_by:
        lines.append("Nobody has seen it yet. Say seen; say going when you go.")
    elif not subject.going_by:
        lines.append(f"{subject.seen_by} has seen it; nobody is going. Say going when you go.")
    else:
        lines.append(f"{subject.going_by} is going; a press at the rig shows that somebody came.")
    return lines


def _fitted(orders: str, said: str, since: str = "", rescue: str = "") -> str:
    """The short form; the module's docstring says in which order things are left out."""
    orders = basic(orders)
    said, since, rescue = basic(_sentence(said)), basic(since), basic(rescue)
    for kept in ((since, rescue), (rescue,), ()):
        text = " ".join(part for part in (orders, said, *kept) if part)
        if room(text) <= SHORT_MAX:
            return text
    if room(orders) > SHORT_MAX:
        # Only where somebody's name stands in them.
        return _shortened(orders, SHORT_MAX)
    return f"{orders} {_shortened(said, SHORT_MAX - room(orders) - 1)}".strip()


def _lines(lines: Sequence[str]) -> str:
    return basic("\n".join(line.strip() for line in lines))


def _cut(text: str) -> str:
    return _shortened(basic(text), SHORT_MAX)


def _shortened(text: str, room_max: int) -> str:
    """The text cut between two words, with dots where it was cut; empty if nothing fits."""
    text = basic(text)
    if room(text) <= room_max:
        return text
    words = text.split(" ")
    while words and room(" ".join(words)) + 2 > room_max:
        words.pop()
    return " ".join(words).rstrip(",;:.") + ".." if words else ""


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _sentence(text: str) -> str:
    """Begins with a capital and ends with one full stop; empty stays empty."""
    text = _capital(text.strip())
    return text if not text or text[-1] in ".!?" else f"{text}."
