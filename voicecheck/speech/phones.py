"""The sounds of English and how far apart they are: articulatory features to weighted distances.

Pure tables and arithmetic. Phones are numbered in the order of ``sounds/phones.csv``; 0 is no phone.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Sequence
from functools import lru_cache
from importlib import resources

import numpy as np
from numpy.typing import NDArray

Phones = tuple[int, ...]
"""The numbers of the sounds of a word or phrase, in order."""

# What each feature of a consonant or a vowel adds to a distance, at most 1 in all.
_CONSONANT = {
    "place": 0.8, "stricture": 0.5, "voice": 0.2, "nasal": 0.35, "lateral": 0.2, "sibilant": 0.25,
    "rhotic": 0.2,
}  # fmt: skip
_VOWEL = {"height": 0.45, "back": 0.4, "round": 0.1, "rhotic": 0.3, "end_height": 0.25, "end_back": 0.25}
_NEAR_VOWEL = 0.35  # from a glide to its own vowel: "your" for "yer"
_LEAST = 0.12  # two sounds are never the same sound


def table_rows(name: str) -> list[dict[str, str]]:
    """The rows of a data file of this package (``sounds/NAME``), without comments."""
    text = resources.files("voicecheck.speech").joinpath("sounds", name).read_text(encoding="utf-8")
    return list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))


class PhoneTable:
    """Every phone by number, its cost of being missed or added, and the distance of every two."""

    def __init__(self, rows: Sequence[dict[str, str]]) -> None:
        self.names = ("", *(row["phone"] for row in rows))
        self._number = {name: number for number, name in enumerate(self.names) if name}
        size = len(self.names)
        self.drop: NDArray[np.float32] = np.zeros(size, np.float32)
        self.swap: NDArray[np.float32] = np.zeros((size, size), np.float32)
        """``swap[a, b]``, 0 to 1, symmetric; 0 on the diagonal."""
        by_name = {row["phone"]: row for row in rows}
        for one in rows:
            at = self._number[one["phone"]]
            self.drop[at] = float(one["drop"])
            for other in rows:
                if one is not other:
                    self.swap[at, self._number[other["phone"]]] = _distance(one, other, by_name)

    def numbers(self, names: Iterable[str]) -> Phones:
        """The numbers of phones by name, stress marks ignored. Raises ``KeyError`` for an unknown one."""
        return tuple(self._number[name.rstrip("012")] for name in names)

    def spelled(self, phones: Phones) -> str:
        return " ".join(self.names[number] for number in phones)


@lru_cache(maxsize=1)
def phone_table() -> PhoneTable:
    """The table that ships with the package."""
    return PhoneTable(table_rows("phones.csv"))


def _distance(one: dict[str, str], other: dict[str, str], by_name: dict[str, dict[str, str]]) -> float:
    if one["kind"] == other["kind"]:
        weights = _CONSONANT if one["kind"] == "consonant" else _VOWEL
        apart = sum(weight * abs(float(one[f]) - float(other[f])) for f, weight in weights.items())
        return min(1.0, max(_LEAST, apart))
    consonant, vowel = (one, other) if one["kind"] == "consonant" else (other, one)
    near = consonant["near"]
    if not near:
        return 1.0
    return min(
        1.0, _NEAR_VOWEL + (0.0 if near == vowel["phone"] else _distance(by_name[near], vowel, by_name))
    )


def costs(heard: NDArray[np.int8], wanted: NDArray[np.int8], table: PhoneTable) -> NDArray[np.float32]:
    """The cost of turning each row of ``heard`` into the same row of ``wanted``, per sound of the longer one.

    Both are phone numbers of shape (pairs, sounds), padded with 0 at the end. The result has shape (pairs,);
    0 is the same sequence of sounds, and more than about 0.3 is something else.
    """
    heard_length = (heard > 0).sum(axis=1)
    wanted_length = (wanted > 0).sum(axis=1)
    total = np.zeros(len(heard), np.float32)
    # Sounds by pairs, so that what is added up lies side by side in memory.
    rows, columns = np.ascontiguousarray(heard.T), np.ascontiguousarray(wanted.T)
    drop_wanted, size = table.drop[columns], np.int16(len(table.drop))
    swap = table.swap.ravel()
    columns = columns.astype(np.int16)
    row = np.zeros((wanted.shape[1] + 1, len(heard)), np.float32)
    np.cumsum(drop_wanted, axis=0, out=row[1:])
    for i in range(heard.shape[1] + 1):
        done = np.flatnonzero(heard_length == i)
        total[done] = row[wanted_length[done], done]
        if i == heard.shape[1]:
            break
        gone = table.drop[rows[i]]
        new = np.empty_like(row)
        new[0] = row[0] + gone
        best = np.minimum(row[:-1] + swap[rows[i].astype(np.int16) * size + columns], row[1:] + gone)
        for j in range(wanted.shape[1]):
            np.minimum(best[j], new[j] + drop_wanted[j], out=new[j + 1])
        row = new
    longer = np.maximum(1, np.maximum(heard_length, wanted_length)).astype(np.float32)
    result: NDArray[np.float32] = total / longer
    return result


def padded(sequences: Sequence[Phones], *, width: int | None = None) -> NDArray[np.int8]:
    """Sequences of phones as rows, filled up with 0."""
    longest = width or max((len(phones) for phones in sequences), default=0)
    rows = np.zeros((len(sequences), longest), np.int8)
    for number, phones in enumerate(sequences):
        rows[number, : len(phones)] = phones
    return rows
