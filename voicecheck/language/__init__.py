"""From words to clauses with marked meanings. No input or output, no clock."""

from voicecheck.language.reader import Reader

__all__ = ["Reader"]
