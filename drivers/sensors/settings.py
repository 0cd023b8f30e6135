"""What the models of this package share."""

from pydantic import ConfigDict

STRICT = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)
