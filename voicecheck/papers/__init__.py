"""What a place's law wants on paper, checked against what a document has. Pure: records in, sentences out."""

from voicecheck.papers.check import missing, missing_consent, statements_to_print

__all__ = ["missing", "missing_consent", "statements_to_print"]
