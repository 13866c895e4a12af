"""From readings to findings and the ledger. No input or output, no clock."""

from voicecheck.findings.finder import Finder

__all__ = ["Finder"]
