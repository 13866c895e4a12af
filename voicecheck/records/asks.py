"""An open question to the technician or the advisor."""

from __future__ import annotations

from voicecheck.records.base import Record


class Ask(Record):
    """A doubt put as a plain sentence.

    ``code`` is stable (e.g. ``side_not_said``), ``field`` names the field in doubt ("" for the whole),
    ``choices`` are ready answers in plain words, the likeliest first; empty when only typing can answer.
    """

    code: str
    message: str
    field: str = ""
    choices: tuple[str, ...] = ()
