"""What all fronts share: where they listen, and what they say when they cannot."""

HOST = "127.0.0.1"


class ServeError(Exception):
    """A port or a link could not be opened; says which and what to do."""
