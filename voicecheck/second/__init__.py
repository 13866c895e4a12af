"""The second reader: a small language model, taught on labelled narrations, behind ``findings.second``."""

from voicecheck.second.model import TaughtReader, load_second

__all__ = ["TaughtReader", "load_second"]
