"""A draft as a web page, a spreadsheet, JSON and a terminal table, and their way onto the disk."""

from voicecheck.documents.draft_json import draft_schema, from_json, to_json
from voicecheck.documents.explained import explanation_html, explanation_json
from voicecheck.documents.explained_terminal import explanation_table
from voicecheck.documents.files import write_text
from voicecheck.documents.page import Paper, to_html
from voicecheck.documents.sheet import COLUMNS, CSV_ENCODING, to_csv
from voicecheck.documents.terminal import draft_table, transcript_table

__all__ = [
    "COLUMNS",
    "CSV_ENCODING",
    "Paper",
    "draft_schema",
    "draft_table",
    "explanation_html",
    "explanation_json",
    "explanation_table",
    "from_json",
    "to_csv",
    "to_html",
    "to_json",
    "transcript_table",
    "write_text",
]
