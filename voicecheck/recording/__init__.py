"""From a phone's audio or video file to 16 kHz samples."""

from voicecheck.recording.media import MAX_SECONDS, MIN_SECONDS, read_sound
from voicecheck.recording.sound import RATE, Sound, sound_from_samples

__all__ = ["MAX_SECONDS", "MIN_SECONDS", "RATE", "Sound", "read_sound", "sound_from_samples"]
