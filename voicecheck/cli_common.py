"""What the commands have in common: refusals, standard output, files to write, drafts to read.

Everything heavy is imported when it is needed, as in ``voicecheck.cli``.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

if TYPE_CHECKING:
    from voicecheck.records import Draft

MOST_DRAFT_BYTES = 64 * 1024 * 1024  # a draft of three hours has less than a tenth of it


def refuse(message: str, *, hint: str = "") -> NoReturn:
    """Ends the command with one sentence: raises ``InputError``."""
    from voicecheck.records import InputError

    raise InputError(message, hint=hint)


@contextmanager
def to_stdout() -> Iterator[None]:
    """One sentence where stdout takes no more. A reader that went away is click's business."""
    try:
        yield
    except BrokenPipeError:
        raise
    except OSError as error:
        from voicecheck.records import OutputError

        # What is left in the buffer would fail once more at the end of the program.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        raise OutputError(
            f"Cannot write to standard output: {(error.strerror or 'unknown reason').lower()}."
        ) from error


def check_outputs(outputs: Sequence[Path], *, inputs: Sequence[Path | None]) -> None:
    """Refuses, before any long work, what could not be written or would destroy something."""
    from voicecheck.documents.files import check_writable

    read = {path.resolve() for path in inputs if path is not None}
    seen: set[Path] = set()
    for out in outputs:
        if out.resolve() in read:
            refuse(f"{out} is read, and would be overwritten.", hint="Name another file to write.")
        if out.resolve() in seen:
            refuse(f"{out} is named twice as a file to write.", hint="Give each document a file of its own.")
        seen.add(out.resolve())
        check_writable(out)


def read_up_to(path: Path, most: int, *, kind: str, hint: str = "") -> bytes:
    """At most ``most`` bytes of a file; refuses a folder, and what is not there or cannot be read.

    ``kind`` is what it should have been ("a draft"), ``hint`` what to do about a folder.
    """
    try:
        if path.is_dir():
            refuse(f"{path} is a folder, not {kind}.", hint=hint)
        with path.open("rb") as file:
            return file.read(most)
    except FileNotFoundError:
        refuse(f"There is no file {path}.")
    except OSError as error:
        refuse(f"{path} cannot be read: {(error.strerror or 'unknown reason').lower()}.")


def read_draft(path: Path) -> Draft:
    """The draft in a file. Raises ``InputError`` with one sentence on whatever is wrong with it."""
    from voicecheck.documents import from_json
    from voicecheck.records import InputError

    hint = "“voicecheck draft FILE --json-out DRAFT.json” writes such a file."
    raw = read_up_to(path, MOST_DRAFT_BYTES + 1, kind="a draft", hint=hint)
    if len(raw) > MOST_DRAFT_BYTES:
        refuse(f"{path} has more than {MOST_DRAFT_BYTES:,} bytes; no draft is that long.", hint=hint)
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        refuse(f"{path} is not text in UTF-8, and so no draft.", hint=hint)
    try:
        return from_json(text)
    except InputError as error:
        _refuse_other_json(path, text, hint)
        raise InputError(f"{path}: {error.message}", hint=hint) from error


def _refuse_other_json(path: Path, text: str, hint: str) -> None:
    """Says of a text that is no draft if it is no JSON, or of another form."""
    from voicecheck.records import FORMAT

    try:
        value = json.loads(text)
    except json.JSONDecodeError as error:
        refuse(
            f"{path} is damaged or not JSON: line {error.lineno}, column {error.colno}: {error.msg}.",
            hint=hint,
        )
    except RecursionError:
        refuse(f"{path} is not a draft: its brackets are nested too deeply.", hint=hint)
    form = value.get("format") if isinstance(value, dict) else None
    if form != FORMAT:
        what = f"has the form “{form}”" if isinstance(form, str) else "does not say that it is a draft"
        refuse(f"{path} {what}; this program reads {FORMAT}.", hint=hint)
