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
    NotThereError,
    OutputError,
    RecordingError,
    RefusedError,
    SpeechError,
    StaleError,
    StoreError,
    TooLongError,
    VoicecheckError,
)
from voicecheck.records.estimate import (
    AddedLine,
    Basis,
    Candidate,
    DiscountLine,
    Estimate,
    Job,
    Less,
    LimitCheck,
    Line,
    LineChange,
    TaxLine,
    Terms,
    Totals,
)
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
    Conclusion,
    Discount,
    FeeRule,
    FollowOn,
    Limit,
    MarkupBand,
    Operation,
    PartUse,
    Policies,
    PriceProfile,
    RateRule,
    Scope,
    SetPolicy,
    ShopData,
    TaxRule,
)
from voicecheck.records.transcript import Span, Transcript, Unheard, Word, span_of
from voicecheck.records.vocabulary import (
    ACTIONS,
    CORNERS,
    POSITIONS,
    PRICED_ACTIONS,
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
    "ACTIONS", "CORNERS", "FORMAT", "POSITIONS", "PRICED_ACTIONS", "STATES", "UNITS", "UNPRICED_ACTIONS",
    "URGENCIES", "Action", "AddedLine", "Ask", "Basis", "Bound", "Candidate", "Catalogue", "Conclusion",
    "DataError", "Discount", "DiscountLine", "Draft", "EmptyRecordingError", "Estimate", "FeeRule",
    "Finding", "FindingsResult", "FollowOn", "InputError", "Job", "Ledger", "LedgerEntry", "Less",
    "Limit", "LimitCheck", "Line", "LineChange", "LineKind", "Market", "MarkupBand", "Measure",
    "MissingModelError", "NoSoundError", "NotMediaError", "NotThereError", "Operation", "OutputError",
    "PartUse", "Policies", "Position", "PriceProfile", "Problem", "RateRule", "Record", "RecordingError",
    "RecordingInfo", "Ref", "RefusedError", "Scope", "SetPolicy", "ShopData", "Span", "SpeechError",
    "StaleError", "State", "StoreError", "TaxLine", "TaxRule", "Terms", "TooLongError", "Totals",
    "Transcript", "Unheard", "Unit", "Unplaced", "Urgency", "Vehicle", "VoicecheckError", "Word",
    "expand", "span_of",
]  # fmt: skip
