"""From sound to words. The engine itself is in ``voicecheck.speech.whisper``, which is slow to import."""

from voicecheck.speech.doctor import SelfTest, self_test
from voicecheck.speech.double import ScriptedRecogniser
from voicecheck.speech.recogniser import Ear, Recogniser, SpeechSettings
from voicecheck.speech.weights import DEFAULT_WEIGHTS, fetch, find_model, known_weights, verify, weights_dir

__all__ = [
    "DEFAULT_WEIGHTS",
    "Ear",
    "Recogniser",
    "ScriptedRecogniser",
    "SelfTest",
    "SpeechSettings",
    "fetch",
    "find_model",
    "known_weights",
    "self_test",
    "verify",
    "weights_dir",
]
