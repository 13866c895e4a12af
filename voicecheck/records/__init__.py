"""The frozen models that pass between stages. Imports nothing but pydantic."""

from voicecheck.records.asks import Ask
from voicecheck.records.base import Record
from voicecheck.records.draft import FORMAT, Draft, RecordingInfo, Unplaced
from voicecheck.records.errors import (
    DataError,
    EmptyRecordingError,
    InputError,
    MissingModelError,
    NoSoundError,
    NotMediaError,
    OutputError,
    RecordingError,
    SpeechError,
    TooLongError,
    VoicecheckError,
)
from voicecheck.records.estimate import Candidate, Estimate, Job, Line, Totals
from voicecheck.records.finding import (
    Finding,
    FindingsResult,
    Ledger,
    LedgerEntry,
    Measure,
    Ref,
    Vehicle,
)
from voicecheck.records.problems import Problem
from voicecheck.records.shopdata import (
    Catalogue,
    Limit,
    MarkupBand,
    Operation,
    PartUse,
    PriceProfile,
    ShopData,
)
from voicecheck.records.transcript import Span, Transcript, Unheard, Word, span_of
from voicecheck.records.vocabulary import (
    ACTIONS,
    CORNERS,
    POSITIONS,
    STATES,
    UNITS,
    UNPRICED_ACTIONS,
    URGENCIES,
    Action,
    Bound,
    LineKind,
    Market,
    Position,
    State,
    Unit,
    Urgency,
    expand,
)

__all__ = [
    "ACTIONS", "CORNERS", "FORMAT", "POSITIONS", "STATES", "UNITS", "UNPRICED_ACTIONS", "URGENCIES",
    "Action", "Ask", "Bound", "Candidate", "Catalogue", "DataError", "Draft", "EmptyRecordingError",
    "Estimate",
    "Finding", "FindingsResult", "InputError", "Job", "Ledger", "LedgerEntry", "Limit", "Line",
    "LineKind", "Market",
    "MarkupBand", "Measure", "MissingModelError", "NoSoundError", "NotMediaError", "Operation", "OutputError",
    "PartUse", "Position", "PriceProfile", "Problem", "Record", "RecordingError", "RecordingInfo",
    "Ref", "ShopData",
    "Span", "SpeechError", "State", "TooLongError", "Totals", "Transcript", "Unheard", "Unit",
    "Unplaced", "Urgency",
    "Vehicle", "VoicecheckError", "Word", "expand", "span_of",
]  # fmt: skip
