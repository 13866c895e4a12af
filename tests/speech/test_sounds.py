"""Pronunciations and distances of sounds; the distances are checked against a published feature table."""

from __future__ import annotations

import numpy as np
import pytest

from voicecheck.speech.phones import costs, padded, phone_table, table_rows
from voicecheck.speech.pronounce import Pronouncer, by_letters

TABLE = phone_table()
# The dictionary's phones in IPA, as the dictionary's own documentation equates them.
IPA = {
    "P": "p", "B": "b", "T": "t", "D": "d", "K": "k", "G": "ɡ", "CH": "t͡ʃ", "JH": "d͡ʒ", "F": "f", "V": "v",
    "TH": "θ", "DH": "ð", "S": "s", "Z": "z", "SH": "ʃ", "ZH": "ʒ", "HH": "h", "M": "m", "N": "n", "NG": "ŋ",
    "L": "l", "R": "ɹ", "W": "w", "Y": "j", "IY": "i", "IH": "ɪ", "EH": "ɛ", "AE": "æ", "AH": "ʌ", "AA": "ɑ",
    "AO": "ɔ", "UH": "ʊ", "UW": "u",
}  # fmt: skip


def cost(one: str, other: str, speaker: Pronouncer | None = None) -> float:
    speaker = speaker or Pronouncer()
    pair = (speaker.phrase(one.split()), speaker.phrase(other.split()))
    return float(costs(padded(pair[:1]), padded(pair[1:]), TABLE)[0])


def slow_cost(one: tuple[int, ...], other: tuple[int, ...]) -> float:
    """The textbook recursion, to check the one that takes many pairs at once."""
    rows = [[0.0] * (len(other) + 1) for _ in range(len(one) + 1)]
    for i in range(len(one) + 1):
        for j in range(len(other) + 1):
            ways = [0.0] if i == j == 0 else []
            if i:
                ways.append(rows[i - 1][j] + float(TABLE.drop[one[i - 1]]))
            if j:
                ways.append(rows[i][j - 1] + float(TABLE.drop[other[j - 1]]))
            if i and j:
                ways.append(rows[i - 1][j - 1] + float(TABLE.swap[one[i - 1], other[j - 1]]))
            rows[i][j] = min(ways)
    return rows[-1][-1] / max(1, len(one), len(other))


def ranks(values: list[float]) -> np.ndarray:
    """The place of each value in order; equal values share the mean of their places."""
    _, place, count = np.unique(np.round(values, 6), return_inverse=True, return_counts=True)
    last = np.cumsum(count)
    return np.asarray((last - (count - 1) / 2)[place])


def test_distances_are_a_metric_of_sorts() -> None:
    assert (TABLE.swap == TABLE.swap.T).all()
    assert (np.diag(TABLE.swap) == 0).all()
    other = TABLE.swap[1:, 1:][~np.eye(len(TABLE.names) - 1, dtype=bool)]
    assert other.min() > 0.1
    assert other.max() <= 1.0


@pytest.mark.external
def test_distances_rank_as_in_a_published_feature_table() -> None:
    """panphon's table of articulatory features (Mortensen and others, 2016, MIT licence): its distances
    of every two single segments, weighted, against ours.
    """
    distance = pytest.importorskip("panphon.distance").Distance()
    names = [name for name in IPA if name not in ("CH", "JH")]  # written as two segments in some versions
    ours, theirs = [], []
    for at, one in enumerate(names):
        for other in names[at + 1 :]:
            a, b = TABLE.numbers((one, other))
            ours.append(float(TABLE.swap[a, b]))
            theirs.append(distance.weighted_feature_edit_distance(IPA[one], IPA[other]))
    correlation = float(np.corrcoef(ranks(ours), ranks(theirs))[0, 1])
    assert len(ours) > 400
    assert correlation > 0.7


def test_many_pairs_at_once_cost_what_each_costs() -> None:
    rng = np.random.default_rng(5)
    some = [tuple(rng.integers(1, 40, rng.integers(0, 9)).tolist()) for _ in range(300)]
    pairs = list(zip(some, some[::-1], strict=True))
    at_once = costs(padded([a for a, _ in pairs]), padded([b for _, b in pairs]), TABLE)
    assert at_once == pytest.approx([slow_cost(a, b) for a, b in pairs], abs=1e-5)


@pytest.mark.parametrize(
    ("heard", "meant", "most"),
    [
        ("out or tight rodent", "outer tie rod end", 0.25),
        ("why per blades", "wiper blades", 0.05),
        ("passing your side", "passenger side", 0.25),
        ("ivor pulley", "idler pulley", 0.25),
        ("oil pen gasket", "oil pan gasket", 0.05),
        ("gold cranking amps", "cold cranking amps", 0.05),
    ],
)
def test_mishearings_are_near(heard: str, meant: str, most: float) -> None:
    assert cost(heard, meant) <= most


@pytest.mark.parametrize(
    ("one", "other"),
    [("brake pads", "wheel bearing"), ("rotor", "muffler"), ("tie rod end", "oil pan gasket")],
)
def test_other_words_are_far(one: str, other: str) -> None:
    assert cost(one, other) > 0.45


@pytest.mark.parametrize(
    ("word", "phones"),
    [
        ("rotors", "R OW T ER Z"),
        ("driveshaft", "D R AY V SH AE F T"),  # a compound
        ("clunking", "K L AH NG K IH NG"),  # an inflection
        ("ppv", "P IY P IY V IY"),  # spelled out
        ("4x4", "F AO R EH K S F AO R"),
    ],
)
def test_words_that_the_dictionary_lacks(word: str, phones: str) -> None:
    assert TABLE.spelled(Pronouncer().word(word)[0]) == phones


def test_own_sounds_go_first_in_plain_words_letters_or_phones() -> None:
    speaker = Pronouncer(
        {"zerk": ("zurk",), "egr": ("e g r",), "rotor": ("R AA T ER",), "def": ("d e f", "deaf")}
    )
    assert TABLE.spelled(speaker.word("egr")[0]) == "IY JH IY AA R"
    assert TABLE.spelled(speaker.word("rotor")[0]) == "R AA T ER"
    assert TABLE.spelled(speaker.word("zerk")[0]) == "Z ER K"
    assert [TABLE.spelled(way) for way in speaker.word("def")] == ["D IY IY EH F", "D EH F"]


def test_letter_rules_come_near_the_dictionary() -> None:
    """On words of the dictionary that the rules have not seen."""
    speaker = Pronouncer()
    words = [
        "bracket",
        "fender",
        "gasket",
        "hamper",
        "lantern",
        "mustard",
        "pilgrim",
        "rafter",
        "splendid",
        "tablet",
        "velvet",
        "wicker",
    ]
    far = [costs(padded([by_letters(w)]), padded([speaker.word(w)[0]]), TABLE)[0] for w in words]
    assert float(np.mean(far)) < 0.15


def test_every_letter_and_phone_of_the_data_files_is_known() -> None:
    names = {row["phone"] for row in table_rows("phones.csv")}
    assert len(names) == 39
    for file in ("letters.csv", "spelled.csv"):
        for row in table_rows(file):
            assert set(row["phones"].split()) <= names, row
    assert {row["letter"] for row in table_rows("spelled.csv")} == set("abcdefghijklmnopqrstuvwxyz0123456789")
    assert set("abcdefghijklmnopqrstuvwxyz") <= {row["letters"] for row in table_rows("letters.csv")}
