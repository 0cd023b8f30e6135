"""Prints docs/wire-faults.md: makes every trouble of every wire happen to a cure.

`python -m tests.contract.table`
"""

import logging
import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor

from drivers.kinds import kinds
from tests.contract.all_stands import STANDS
from tests.contract.cure import HEALED_S_MAX, SETTLED_S, UNPLUGGED, WATCHED_S, Seen, seen
from tests.contract.stands import Stand
from tests.unit.story import story_in

# Coarse: to the second it depends on how busy the computer is that makes the page.
AGAIN_S = (5, 10, HEALED_S_MAX)
AT_ONCE = 4  # some of the time is spent waiting
HEAD = f"""# What a broken wire does

Made by `python -m tests.contract.table`, which makes each of these faults happen, on a
real socket, a pseudo-terminal or a made tree of files, to a rig in the middle of a cure;
change it there, not here.

**No wrong value was ever read.** A reading is right, or it is bad and says why; what each
reason means and what to look at: [maintenance.md](maintenance.md). But where a wire has no
checksum (Modbus over TCP, the kernel's sensors, pins) nothing can tell a number that was
changed on its way and came whole. This is supervision, no certified safety function:
thermostat, thermal cut-out and emergency stop act without it.

- *readings*: what the screen shows {SETTLED_S} s later and after that. More than one: by turns, or
  one for some of the channels and one for the others. **good** are right values.
- *first warning*: the alarm and how many seconds after the fault it spoke; what to do then:
  [alarms.md](alarms.md).
- *heat cut*: the trip that opened the heat permit, and after how many seconds. It latches:
  mend the wire, then reset and start at the rig. **stays on**: not within {WATCHED_S} s.
- *good again*: how soon after the wire was mended all readings are right and stay so.

Both pads and both bags are on the wire; on pins, start, here and the emergency stop's
contact. All else, the relay too, is on other wires and well: a relay on the broken wire
cannot be told to open, and what opens it then is in [wiring.md](wiring.md). All times are
the defaults (frames once a second; `link.stale` warns after 5 s and trips after 15 s; those
of the links are in [configuration.md](configuration.md)), but for the wait for an answer,
which is shorter. Nothing here was tried on a maker's module."""


def all_seen() -> list[Seen]:
    """Every trouble of every kind of link, made to happen."""
    story_in("cure", 1.0)  # once, before anybody else needs it
    cases = [(stand, done) for stand in STANDS for done in done_to(stand)]
    with ThreadPoolExecutor(AT_ONCE) as pool:
        return list(pool.map(lambda case: seen(*case), cases))


def done_to(stand: type[Stand]) -> list[str]:
    """What can be done to the readings of one kind of link."""
    return [*(how for how, what in stand.troubles.items() if what.of_readings), UNPLUGGED]


def document(rows: Sequence[Seen]) -> str:
    """The page, for the troubles in `rows`."""
    parts = [HEAD]
    for stand in STANDS:
        of_it = [row for row in rows if row.kind == stand.kind]
        parts.append("\n".join(_part(stand, of_it)))
    return "\n\n".join(parts) + "\n"


def _part(stand: type[Stand], rows: Sequence[Seen]) -> Iterator[str]:
    yield f"## {kinds()[stand.kind].title} (`{stand.kind}`)"
    yield ""
    yield "| what was done to the wire | readings | first warning | heat cut | good again |"
    yield "|---|---|---|---|---|"
    for row in rows:
        cut = _when(row.cut, row.cut_s) if row.cut else "stays on"
        says = ", ".join(f"`{reason}`" if reason else "good" for reason in row.reasons)
        again = next((f"within {most_s} s" for most_s in AGAIN_S if row.good_s <= most_s), "never")
        warned = _when(row.warned, row.warned_s)
        yield f"| {row.done} | {says} | {warned} | {cut} | {again} |"
    if stand.impossible:
        yield ""
        yield "This wire cannot have:"
        yield ""
        yield from (f"- *{trouble}*: {why}." for trouble, why in stand.impossible.items())


def _when(tag: str, after_s: int | None) -> str:
    return f"`{tag}`, {after_s} s" if tag else "none"


if __name__ == "__main__":
    logging.disable()  # pymodbus tells of every answer that does not come
    sys.stdout.write(document(all_seen()))
