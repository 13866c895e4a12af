"""The base of every value that passes between stages."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class Record(BaseModel):
    """A frozen value: no unknown fields, no change after making, saved and read back as JSON."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)
