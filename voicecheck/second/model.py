"""The one place that knows the engine of the second reader (ONNX Runtime) and its pieces of words."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import onnxruntime
from numpy.typing import NDArray
from tokenizers import BertWordPieceTokenizer

from voicecheck.findings.candidates import Candidate
from voicecheck.findings.second import Judgement, Trust
from voicecheck.records.base import Record
from voicecheck.records.errors import DataError
from voicecheck.records.odds import logistic
from voicecheck.records.vocabulary import ACTIONS, POSITIONS, STATES, URGENCIES
from voicecheck.resources import learned
from voicecheck.second.layout import Split, arrays, windows


class Taught(Record):
    """What goes with the weights: the names of the counts that the model takes, and when to trust it."""

    counts: tuple[str, ...]
    trust: Trust


class TaughtReader:
    """Judges candidates with a model taught on labelled narrations; safe to share between threads."""

    def __init__(self, weights: Path, *, split: Split, counts: Sequence[str]) -> None:
        """Raises ``DataError`` where the weights cannot be read."""
        self._split = split
        self._counts = tuple(counts)
        options = onnxruntime.SessionOptions()
        options.log_severity_level = 3
        options.add_session_config_entry("session.intra_op.allow_spinning", "0")  # others need the cores too
        # the weights are stored in 8 bits and computed with in 32, so that every machine reads alike
        options.add_session_config_entry("session.disable_quant_qdq", "1")
        try:
            self._session = onnxruntime.InferenceSession(
                str(weights), sess_options=options, providers=["CPUExecutionProvider"]
            )
        except Exception as error:  # the engine raises kinds of its own
            raise DataError(
                f"The weights of the second reader cannot be read from {weights}: {error}",
                hint="Install voicecheck again.",
            ) from error

    def judge(self, words: Sequence[str], candidates: Sequence[Candidate]) -> list[Judgement]:
        """A judgement for each candidate, in order; nothing is known of one without a piece of a word."""
        judged = [_NOTHING] * len(candidates)
        for window in windows(words, candidates, self._split):
            stands, states, actions, seats, urgencies = self._session.run(
                None, dict(arrays(window, candidates, self._counts, self._split))
            )
            for row, (at, _, _) in enumerate(window.candidates):
                judged[at] = Judgement(
                    stands=logistic(float(stands[row])),
                    states=_shares(STATES, states[row]),
                    actions=_shares(ACTIONS, actions[row]),
                    urgencies=_shares(URGENCIES, urgencies[row]),
                    seats=dict(zip(POSITIONS, map(logistic, seats[row].tolist()), strict=True)),
                )
        return judged


_NOTHING = Judgement(
    stands=0.5,
    states=dict.fromkeys(STATES, 1 / len(STATES)),
    actions=dict.fromkeys(ACTIONS, 1 / len(ACTIONS)),
    urgencies=dict.fromkeys(URGENCIES, 1 / len(URGENCIES)),
    seats=dict.fromkeys(POSITIONS, 0.5),
)


def load_second(folder: Path) -> tuple[TaughtReader, Trust]:
    """The second reader that comes with the program, and when to trust it. Raises ``DataError``."""
    taught = learned(folder / "second.json", Taught, of="the second reader")
    split = word_pieces(folder / "vocab.txt")
    return TaughtReader(folder / "weights.onnx", split=split, counts=taught.counts), taught.trust


def word_pieces(vocabulary: Path) -> Split:
    """Splits words into the pieces of a vocabulary. Raises ``DataError`` where that cannot be read."""
    try:
        pieces = BertWordPieceTokenizer(str(vocabulary), lowercase=True)
    except Exception as error:  # the engine raises kinds of its own
        raise DataError(
            f"The vocabulary of the second reader cannot be read from {vocabulary}: {error}",
            hint="Install voicecheck again.",
        ) from error

    def split(words: Sequence[str]) -> tuple[list[int], list[int]]:
        encoded = pieces.encode(list(words), is_pretokenized=True, add_special_tokens=False)
        return list(encoded.ids), [word for word in encoded.word_ids if word is not None]

    return split


def _shares(names: Sequence[str], scores: NDArray[np.float32]) -> dict[str, float]:
    weights = np.exp(np.asarray(scores, dtype=np.float64) - scores.max())
    return dict(zip(names, (weights / weights.sum()).tolist(), strict=True))
