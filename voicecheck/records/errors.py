"""What can go wrong, as one tree.

VoicecheckError                 anything we say to a person instead of a stack trace
├── RecordingError              the media file
│   ├── NotMediaError           not audio or video, or damaged beyond reading
│   ├── NoSoundError            a video or container without a sound track
│   ├── EmptyRecordingError     nothing in it, or shorter than a word
│   └── TooLongError            longer than the limit
├── SpeechError                 the recogniser
│   └── MissingModelError       weights not there, incomplete, or not the ones expected
├── DataError                   term files, catalogue, prices, limits, gold labels: carries Problems
├── InputError                  a path, option or typed text that cannot be used
│   └── NotThereError           what is asked for does not exist (any more)
├── RefusedError                what is asked does not go with what is there
│   └── StaleError              somebody else was faster; look again
├── StoreError                  the database or the media folder cannot be used now
└── OutputError                 a folder or file that cannot be written

The command line prints ``message`` (and ``hint`` on its own line) to stderr and ends with status 2.
"""

from __future__ import annotations

from collections.abc import Sequence

from voicecheck.records.problems import Problem


class VoicecheckError(Exception):
    """One clear sentence for a person: what, where, and (``hint``) what to do."""

    def __init__(self, message: str, *, hint: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.hint = hint


class RecordingError(VoicecheckError):
    """The media file cannot be used."""


class NotMediaError(RecordingError):
    """Not audio or video, or damaged beyond reading."""


class NoSoundError(RecordingError):
    """A container without a sound track."""


class EmptyRecordingError(RecordingError):
    """No samples, or less than a word could take."""


class TooLongError(RecordingError):
    """Longer than the limit set."""


class SpeechError(VoicecheckError):
    """The recogniser cannot work."""


class MissingModelError(SpeechError):
    """Weights are not there, incomplete, or fail their checksum."""


class DataError(VoicecheckError):
    """A data file has faults; all of them are in ``problems``."""

    def __init__(self, message: str, *, problems: Sequence[Problem] = (), hint: str = "") -> None:
        super().__init__(message, hint=hint)
        self.problems = tuple(problems)


class InputError(VoicecheckError):
    """A path, option or typed text that cannot be used."""


class NotThereError(InputError):
    """What is asked for does not exist, or not any more."""


class RefusedError(VoicecheckError):
    """What is asked does not go with what is there: a state, a part with other content."""


class StaleError(RefusedError):
    """Somebody else was faster: what was looked at has changed since."""


class StoreError(VoicecheckError):
    """The database or the folder of media cannot be used now: full, locked, unwritable, out of reach."""


class OutputError(VoicecheckError):
    """A folder or file that cannot be written."""
