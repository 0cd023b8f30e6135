"""A process that fills a store as fast as it can, to be killed at any instant.

Prints `event SEQ N` for each event once it is announced durable. Frame n has an
event when 7 divides n; each 500th frame closes a run and the next opens one.
"""

import asyncio
import sys
from pathlib import Path

from rules.events import Event
from tests.store_samples import RIG, alarm, closed, decision, frame, message, opened, opened_store

RUN_FRAMES = 500


def events_of(seq: int) -> list[Event]:
    """The events of frame `seq`, the same in every process."""
    number, place = divmod(seq, RUN_FRAMES)
    events: list[Event] = []
    if place == 1:
        events.append(opened(number + 1))
    if seq % 7 == 0:
        events += [alarm("bag.burst"), alarm("bag.low", "warn")]
    if place == 0:
        events.append(closed(number))
    return events


async def fill(path: Path) -> None:
    """Append for ever, going on where the store stands."""
    async with opened_store(path) as store:
        told = store.durable_seq(RIG) or 0

        def on_durable(_rig: str, durable: int) -> None:
            nonlocal told
            for seq in range(told + 1, durable + 1):
                for n in range(len(events_of(seq))):
                    sys.stdout.write(f"event {seq} {n}\n")
            sys.stdout.flush()
            told = durable

        store.on_durable = on_durable
        seq = told
        while True:
            seq += 1
            events = events_of(seq)
            run = (seq - 1) // RUN_FRAMES + 1
            outgoing = [message(seq)] if events else []
            store.append(RIG, frame(seq), decision(*events, run=run), outgoing=outgoing)
            if seq % 14 == 0:
                await store.flush()


if __name__ == "__main__":
    asyncio.run(fill(Path(sys.argv[1])))
