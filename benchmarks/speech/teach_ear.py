"""Teaches the speech weights shop talk: changes of low rank (LoRA) on windows that ``speak.py`` made.

    python benchmarks/speech/teach_ear.py WINDOWS --minutes 25 [--go-on voicecheck/speech/taught.npz]

In an environment of its own (``requirements.txt`` here and the project's ``requirements.lock``), with the
weights "base" fetched. Windows that appear while it runs are joined at the next round. Writes
``voicecheck/speech/taught.npz``. Afterwards ``benchmarks/learn_ear.py`` learns anew what depends on what the
ear hears, and ``benchmarks/ear.py`` measures.

What is taught: words as the lessons have them, numbers as words, with times of sentences (85 %) or none,
after the standing hot words (45 %), names of parts by chance and some that are said (25 %), or nothing (30
%); 60 % in made-up noise, a room, on the telephone or clipped (``measure/ear_conditions.py``, never its real
recordings), and 3 % noise without words, whose answer is that nobody speaks.
"""

from __future__ import annotations

import argparse
import pickle
import queue
import random
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, NamedTuple, get_args

import numpy as np
import torch
from numpy.typing import NDArray
from torch.nn import functional

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parents[1])]

from faster_whisper.feature_extractor import FeatureExtractor  # noqa: E402
from network import Network  # noqa: E402
from speak import RATE, Window  # noqa: E402
from tokenizers import Tokenizer  # noqa: E402

from voicecheck.lexicon import hot_words, load_lexicon  # noqa: E402
from voicecheck.measure.ear_conditions import Samples, apply_condition, conditions_named  # noqa: E402
from voicecheck.records import Market  # noqa: E402
from voicecheck.resources import lexicon_dir  # noqa: E402
from voicecheck.speech import find_model, taught  # noqa: E402
from voicecheck.speech.topic import hot_text  # noqa: E402
from voicecheck.speech.weights import MODEL, known_weights  # noqa: E402
from voicecheck.speech.whisper import whole_merges  # noqa: E402

LOWEST = 3  # of the encoder's layers that are changed
RATE_OF_LEARNING = 6e-4  # of the second matrices; half of it for the first ones
BATCH = 8
NOISES = [
    f"{kind}{level}" for kind in ("noise", "compressor", "wrench", "radio", "bay") for level in (20, 10, 5)
]
NOISES += ["phone", "clipping"]
WINDOW_S, MOST_TOKENS, HOT_TOKENS, FRAMES, STEP_S = 30.0, 440, 200, 3000, 0.02
START, ENGLISH, TRANSCRIBE, NO_TIMES, BEFORE, END, TIMES, NOBODY = (
    50258, 50259, 50359, 50363, 50361, 50257, 50364, 50362,
)  # fmt: skip
NOT_ASKED = -100

Mel = NDArray[np.float32]


class Example(NamedTuple):
    """``mel``: (80, 3000); ``wanted``: the token after each of ``tokens``, or that it is not asked about."""

    mel: Mel
    tokens: list[int]
    wanted: list[int]


class Teacher:
    """Makes examples from windows."""

    def __init__(self, folder: Path, tokeniser: Tokenizer, seed: int) -> None:
        self._folder, self._tokeniser, self._random = folder, tokeniser, random.Random(seed)
        self._mel = FeatureExtractor()
        lexicons = {market: load_lexicon(lexicon_dir(), market=market) for market in get_args(Market)}
        standing = {
            market: hot_words(
                one, limit_tokens=HOT_TOKENS, count_tokens=lambda text: len(self._encoded(text))
            )
            for market, one in lexicons.items()
        }
        self._standing = [standing[market] for market in ("US", "US", "US", "UK")]
        self._names = sorted({part.name for one in lexicons.values() for part in one.components.values()})

    def examples(self) -> Iterator[Example]:
        """Every window in turn, in another order each round, without end."""
        while True:
            windows = [
                Window(*one)
                for path in sorted(self._folder.glob("*.pkl"))
                for one in pickle.loads(path.read_bytes())
            ]
            self._random.shuffle(windows)
            print(f"a round of {len(windows)} windows", flush=True)
            for window in windows:
                example = self._example(window, self._random.choice(windows))
                if example is not None:
                    yield example

    def _encoded(self, text: str) -> list[int]:
        ids: list[int] = self._tokeniser.encode(" " + text.strip(), add_special_tokens=False).ids
        return ids

    def _example(self, window: Window, other: Window) -> Example | None:
        chance = self._random
        sound = _floats(window)
        if chance.random() < 0.03:
            noisy = self._in_noise(sound, _floats(other), "noise5")
            alone = (noisy - sound * (noisy @ sound) / (sound @ sound))[: round(chance.uniform(3, 30) * RATE)]
            return Example(self._heard(alone), [START], [NOBODY])
        with_times = chance.random() < 0.85
        cut = sound.size / RATE if sound.size < 0.99 * WINDOW_S * RATE else WINDOW_S
        said = [one for one in window.sentences if (one[0] < cut - 0.2 if with_times else one[1] <= cut)]
        if not said:
            return None
        before = self._before(" ".join(text for _, _, text in said))
        start = [START, ENGLISH, TRANSCRIBE, *(() if with_times else (NO_TIMES,))]
        answer = (
            self._answer(said, cut) if with_times else self._encoded(" ".join(text for _, _, text in said))
        )
        tokens = [*before, *start, *answer, END][:MOST_TOKENS]
        given = len(before) + len(start)
        wanted = [NOT_ASKED] * (given - 1) + tokens[given:]
        wanted[len(before)] = ENGLISH
        if not with_times:
            sound = sound[: round((said[-1][1] + 0.15) * RATE)]
        if chance.random() < 0.6:
            sound = self._in_noise(sound, _floats(other), chance.choice(NOISES))
            if chance.random() < 0.1:
                sound = self._in_noise(sound, sound, "phone")
        return Example(self._heard(sound * 10 ** chance.uniform(-1, 0)), tokens[:-1], wanted)

    def _before(self, said: str) -> list[int]:
        chance, draw = self._random, self._random.random()
        if draw < 0.45:
            return [BEFORE, *self._encoded(hot_text(chance.choice(self._standing)))]
        if draw < 0.7:
            spoken = [name for name in self._names if len(name) > 4 and name in said.lower()]
            names = chance.sample(spoken, min(len(spoken), 6)) + chance.sample(
                self._names, chance.randint(4, 40)
            )
            chance.shuffle(names)
            return [BEFORE, *self._encoded(hot_text(names))[:HOT_TOKENS]]
        return []

    def _answer(self, said: Sequence[tuple[float, float, str]], cut: float) -> list[int]:
        """Sentences with their times; of one that is cut off only when it begins, as the model knows it."""
        answer: list[int] = []
        for start, end, text in said:
            answer.append(TIMES + round(start / STEP_S))
            if end > cut:
                break
            answer += [*self._encoded(text), TIMES + min(round(WINDOW_S / STEP_S), round(end / STEP_S))]
        return answer

    def _in_noise(
        self,
        sound: Samples,
        other: Samples,
        name: str,
    ) -> Samples:
        (condition,) = conditions_named([name])
        return apply_condition(condition, sound, seed=self._random.randrange(1 << 30), other=other)

    def _heard(self, sound: Samples) -> Mel:
        """Log mel as the engine makes and pads it; a third with bands and moments blanked (SpecAugment)."""
        chance = self._random
        mel = self._mel(sound.astype(np.float32))[:, :FRAMES]
        mel = np.pad(mel, ((0, 0), (0, FRAMES - mel.shape[1]))).astype(np.float32)
        if chance.random() < 0.3:
            for _ in range(2):
                at = chance.randrange(FRAMES - 40)
                mel[:, at : at + chance.randint(5, 40)] = mel.min()
            band = chance.randrange(70)
            mel[band : band + chance.randint(1, 8)] = mel.min()
        return mel


def _floats(window: Window) -> Samples:
    return (window.audio / 32_768).astype(np.float32)


def teach(network: Network, examples: Iterator[Example], minutes: float) -> None:
    """Changes ``network`` for ``minutes``; the rate rises over a twentieth of them and falls to nothing."""
    waiting: queue.Queue[list[Example]] = queue.Queue(6)
    ended = threading.Event()

    def feed() -> None:
        while not ended.is_set():
            waiting.put([next(examples) for _ in range(BATCH)])

    threading.Thread(target=feed, daemon=True).start()
    groups = [{"params": list(network.first.values())}, {"params": list(network.second.values())}]
    optimiser = torch.optim.AdamW(groups, lr=1.0, weight_decay=0.0, betas=(0.9, 0.98))
    began, losses = time.monotonic(), []
    while (done := (time.monotonic() - began) / 60 / minutes) < 1:
        rate = RATE_OF_LEARNING * min(1.0, done / 0.05 + 0.02) * (1 - 0.97 * done)
        optimiser.param_groups[0]["lr"], optimiser.param_groups[1]["lr"] = rate / 2, rate
        batch = waiting.get()
        longest = max(len(one.tokens) for one in batch)
        tokens = torch.full((BATCH, longest), END)
        wanted = torch.full((BATCH, longest), NOT_ASKED)
        for at, one in enumerate(batch):
            tokens[at, : len(one.tokens)] = torch.tensor(one.tokens)
            wanted[at, : len(one.wanted)] = torch.tensor(one.wanted)
        sound = network.encoded(torch.from_numpy(np.stack([one.mel for one in batch])))
        asked = wanted != NOT_ASKED
        loss = functional.cross_entropy(network.scores(network.decoded(tokens, sound)[asked]), wanted[asked])
        optimiser.zero_grad()
        loss.backward()
        torch.nn.utils.clip_grad_norm_(network.parameters(), 1.0)
        optimiser.step()
        losses.append(loss.item())
        if len(losses) % 10 == 0:
            print(f"{len(losses)} steps, {done:.0%}: loss {np.mean(losses[-10:]):.3f}", flush=True)
    ended.set()


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("windows", type=Path)
    parser.add_argument("--minutes", type=float, default=25.0)
    parser.add_argument("--go-on", type=Path, help="changes to go on from")
    parser.add_argument("--out", type=Path, default=Path(taught.__file__).with_name(taught.CHANGES))
    parser.add_argument("--seed", type=int, default=7)
    given = parser.parse_args()
    if not any(given.windows.glob("*.pkl")):
        raise SystemExit(f"There are no windows in {given.windows}: make them with speak.py.")
    folder = find_model(taught.TAUGHT)
    network = Network(folder / MODEL, lowest=LOWEST)
    if given.go_on:
        network.go_on_from(given.go_on)
    tokeniser = Tokenizer.from_str(whole_merges((folder / "tokenizer.json").read_text("utf-8")))
    teach(network, Teacher(given.windows, tokeniser, given.seed).examples(), given.minutes)
    on = np.array(known_weights()[taught.TAUGHT].model_sha256)
    changes: dict[str, Any] = {"of": on, **network.changes()}
    np.savez_compressed(given.out, **changes)
    print(f"written: {given.out}")


if __name__ == "__main__":
    main()
