"""What a place's law wants on paper, checked against what a document has. Pure: records in, sentences out."""

from voicecheck.papers.check import missing, missing_consent, statements_to_print
from voicecheck.papers.tolerance import allowed_total, must_ask_again

__all__ = ["allowed_total", "missing", "missing_consent", "must_ask_again", "statements_to_print"]
