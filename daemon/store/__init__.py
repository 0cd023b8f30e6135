"""The store: frames, events, runs, checkpoints and outgoing messages in one SQLite file."""

from daemon.store.errors import (
    StoreDamaged,
    StoreError,
    StoreFailing,
    StoreLocked,
    StoreMissing,
    StoreVersion,
)
from daemon.store.reader import StoreReader
from daemon.store.records import (
    BadRow,
    CheckpointRecord,
    Delivery,
    EventRecord,
    Resume,
    RunRecord,
)
from daemon.store.store import Store

__all__ = [
    "BadRow",
    "CheckpointRecord",
    "Delivery",
    "EventRecord",
    "Resume",
    "RunRecord",
    "Store",
    "StoreDamaged",
    "StoreError",
    "StoreFailing",
    "StoreLocked",
    "StoreMissing",
    "StoreReader",
    "StoreVersion",
]
