"""What can go wrong with the store, told apart by who can act."""


class StoreError(Exception):
    """Base of the store's errors."""


class StoreMissing(StoreError):
    """There is no store at the path: whoever gave the path looks at it."""


class StoreLocked(StoreError):
    """Another daemon holds the store: stop one of the two."""


class StoreFailing(StoreError):
    """The disk is full or refuses: maintenance makes room or changes it."""


class StoreDamaged(StoreError):
    """What is stored is not what was written: maintenance keeps the file and looks."""


class StoreVersion(StoreError):
    """The store was made by another version of this program."""
