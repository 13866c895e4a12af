"""How good the drafts are: gold labels, scores, and tables of both."""

from voicecheck.measure.counts import Counts, FolderScore, Hearing, Miss, NarrationScore, Tally
from voicecheck.measure.gold import Gold, load_gold, load_narrations, read_gold
from voicecheck.measure.run import FolderReport, Speed, measure_folder
from voicecheck.measure.score import pool, score_draft
from voicecheck.measure.tables import report_json, report_markdown, report_tables
from voicecheck.measure.words import score_hearing

__all__ = [
    "Counts",
    "FolderReport",
    "FolderScore",
    "Gold",
    "Hearing",
    "Miss",
    "NarrationScore",
    "Speed",
    "Tally",
    "load_gold",
    "load_narrations",
    "measure_folder",
    "pool",
    "read_gold",
    "report_json",
    "report_markdown",
    "report_tables",
    "score_draft",
    "score_hearing",
]
