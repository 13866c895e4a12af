"""How a narration and its candidates become the numbers that the model was taught on.

Shared by the program and by what teaches the model (``benchmarks/second``), so that both see the same.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from voicecheck.findings.candidates import Candidate, Range
from voicecheck.records.vocabulary import ACTIONS, POSITIONS, STATES, URGENCIES

LONGEST = 500  # pieces of words that are read at once; the model has 512 places, two of them for its signs
_SHARED = 180  # pieces that two such windows have in common
REACH = 64  # pieces to each side of a part that are looked at for it
_BEGIN, _END = 101, 102  # the model's signs for the beginning and the end
_FAR = 16  # distances are told apart up to it, in steps that grow
TIES = 2 * _FAR + 3  # distances that are told apart
KINDS = ("draft", "mention", "apart")
NAME = 8  # pieces of a part's name that are looked at

Split = Callable[[Sequence[str]], tuple[list[int], list[int]]]
"""Words to the numbers of their pieces, and for each piece the number of its word."""


@dataclass(frozen=True)
class Window:
    """Pieces that are read at once, and the candidates judged in it: their number, and the piece ranges
    of their words and of their part.
    """

    ids: list[int]
    candidates: list[tuple[int, list[Range], list[Range]]]


def windows(words: Sequence[str], candidates: Sequence[Candidate], split: Split) -> list[Window]:
    """The narration in windows; each candidate in the one where it has most around it."""
    ids, owners = split(words)
    first: dict[int, int] = {}
    last: dict[int, int] = {}
    for piece, word in enumerate(owners):
        first.setdefault(word, piece)
        last[word] = piece + 1
    starts = [0] if len(ids) <= LONGEST else list(range(0, max(1, len(ids) - _SHARED), LONGEST - _SHARED))
    made = [Window([_BEGIN, *ids[s : s + LONGEST], _END], []) for s in starts]

    def inside(words_at: Range, number: int) -> Range | None:
        pieces = [(first[w], last[w]) for w in range(*words_at) if w in first]
        if not pieces:
            return None
        low = max(1, pieces[0][0] - starts[number] + 1)
        high = min(len(made[number].ids) - 1, pieces[-1][1] - starts[number] + 1)
        return (low, high) if high > low else None

    for at, candidate in enumerate(candidates):
        anchor = first.get((candidate.parts or candidate.spans)[0][0], 0)
        number = min(range(len(starts)), key=lambda n: _off_centre(anchor, starts[n], len(ids)))
        spans = [r for r in (inside(span, number) for span in candidate.spans) if r]
        parts = [r for r in (inside(part, number) for part in candidate.parts) if r]
        if spans:
            made[number].candidates.append((at, spans, parts or spans[:1]))
    return [window for window in made if window.candidates]


def _off_centre(anchor: int, start: int, pieces: int) -> float:
    outside = 0.0 if start <= anchor < start + LONGEST else 1e6
    return outside + abs((anchor - start) - min(LONGEST, pieces - start) / 2)


def features(candidate: Candidate, counts: Sequence[str]) -> list[float]:
    """What the rules made of a candidate, as numbers; ``counts`` are the names of the counts of evidence."""
    row = [float(candidate.kind == kind) for kind in KINDS]
    row += [float(candidate.state == state) for state in STATES]
    row += [float(candidate.action == action) for action in ACTIONS]
    row += [float(candidate.urgency == urgency) for urgency in URGENCIES]
    row += [float(seat in candidate.seats) for seat in POSITIONS]
    row += [float(seat in candidate.possible) for seat in POSITIONS]
    told = (candidate.conditions, candidate.wider, bool(candidate.parts), candidate.inside, candidate.own)
    row += [float(one) for one in told]
    return row + [float(candidate.counts.get(name, 0.0)) for name in counts]


def distances() -> NDArray[np.int64]:
    """For each piece within reach of a part the number of its distance, from far before to far behind."""
    return np.array([_FAR + 1 + _step(at) for at in range(-REACH, REACH + 1)], dtype=np.int64)


def _step(distance: int) -> int:
    size = abs(distance)
    step = size if size < 8 else min(_FAR, 8 + int(math.log2(size / 8) * 2.5))
    return step if distance >= 0 else -step


def ties(window: Window, candidates: Sequence[Candidate], middles: Sequence[int]) -> NDArray[np.int64]:
    """How candidates of a window stand to each other, [N, N]: the distance from one's part to the other's,
    and whether they are of the same part.
    """
    at = np.array(middles, dtype=np.int64)
    names = np.array([candidates[number].component for number, _, _ in window.candidates])
    apart = (at[None, :] - at[:, None]).clip(-REACH, REACH) + REACH
    return np.asarray(distances()[apart] + TIES * (names[:, None] == names[None, :]), dtype=np.int64)


def arrays(
    window: Window, candidates: Sequence[Candidate], counts: Sequence[str], split: Split
) -> Mapping[str, NDArray[np.generic]]:
    """The model's inputs for one window, N candidates, each with W = 2·REACH + 1 pieces around its part:
    ids [1, L], idx [N, W] (places of those pieces), near, part, span [N, W] (0 or 1), tag, dist [N, W],
    feat [N, F], tie [N, N], which says how the candidates stand to each other, and name [N, NAME], the pieces
    of their parts' names, 0 behind them.
    """
    number, wide, length = len(window.candidates), 2 * REACH + 1, len(window.ids)
    idx = np.zeros((number, wide), dtype=np.int64)
    tag = np.zeros((number, wide), dtype=np.int64)
    near, part, span = (np.zeros((number, wide), dtype=np.float32) for _ in range(3))
    middles = [(parts[0][0] + parts[0][1]) // 2 for _, _, parts in window.candidates]
    for row, (_, spans, parts) in enumerate(window.candidates):
        begin = middles[row] - REACH
        low, high = max(0, begin), min(length, begin + wide)
        idx[row, low - begin : high - begin] = np.arange(low, high)
        near[row, low - begin : high - begin] = 1.0
        for ranges, mask, kind in ((spans, span, 2), (parts, part, 1)):
            for first, last in ranges:
                a, b = max(first, low) - begin, min(last, high) - begin
                if b > a:
                    mask[row, a:b] = 1.0
                    tag[row, a:b] = kind
    name = np.zeros((number, NAME), dtype=np.int64)
    called = [candidates[at].name for at, _, _ in window.candidates]
    split_once = {each: split(each.split())[0][:NAME] for each in set(called)}
    for row, each in enumerate(called):
        name[row, : len(split_once[each])] = split_once[each]
    feat = [features(candidates[at], counts) for at, _, _ in window.candidates]
    return {
        "ids": np.array([window.ids], dtype=np.int64),
        "idx": idx,
        "near": near,
        "part": part,
        "span": span,
        "tag": tag,
        "dist": np.broadcast_to(distances(), (number, wide)).copy(),
        "feat": np.array(feat, dtype=np.float32),
        "tie": ties(window, candidates, middles),
        "name": name,
    }
