"""Voicecheck: a spoken vehicle inspection becomes a draft estimate that can be played back to its words."""

__version__ = "0.1.0"
