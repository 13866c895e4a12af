"""Terms found by their sound, what protects words from being read otherwise, how a repair is written down."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest

from voicecheck.language.tokens import tokenise
from voicecheck.lexicon import load_lexicon
from voicecheck.records import Transcript, Word, span_of
from voicecheck.records.transcript import joined
from voicecheck.resources import lexicon_dir
from voicecheck.speech.ear import LexiconTools, mended
from voicecheck.speech.evidence import Compared, Evidence
from voicecheck.speech.repair import Asked, acceptance, chosen, features_of, read_as, support
from voicecheck.speech.search import Candidate, SoundIndex
from voicecheck.speech.timeline import Stretch

TUNE = Path(__file__).resolve().parents[2] / "samples_synthetic" / "tune"


@pytest.fixture(scope="module")
def tools() -> LexiconTools:
    return LexiconTools(
        load_lexicon(lexicon_dir()), count_tokens=lambda text: len(text.split()), hot_tokens=100
    )


@pytest.fixture(scope="module")
def index(tools: LexiconTools) -> SoundIndex:
    return tools.index


def heard(text: str, certainty: float = 0.5, sure: Sequence[str] = ()) -> list[Word]:
    """Words of half a second each; those in ``sure`` are certain."""
    return [
        Word(heard=w, read=w, start=n / 2, end=n / 2 + 0.4, certainty=0.99 if w in sure else certainty)
        for n, w in enumerate(text.split())
    ]


def found(index: SoundIndex, words: list[Word]) -> set[str]:
    """The texts that each candidate would make of the whole."""
    return {
        joined([*(w.heard for w in words[: c.first]), c.text, *(w.heard for w in words[c.last :])]).lower()
        for c in index.find(words)
    }


def test_names_that_are_only_understood_are_not_looked_for(tools: LexiconTools, index: SoundIndex) -> None:
    sensor = tools.lexicon.components["brake_pad_wear_sensor"]
    assert "squeal tab" in sensor.unsought
    looked_for = {phrase.text for phrase in index.phrases}
    assert {"pad wear sensor", "ball joint"} <= looked_for
    assert "squeal tab" not in looked_for
    unmarked = {
        name for part in tools.lexicon.components.values() for name in set(part.names) - part.unsought
    }
    assert len(looked_for & unmarked) > 3_000
    assert "the squeal tab is loud" not in found(index, heard("the squeal tap is loud", 0.3))


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("ride out or tight rodent", "ride outer tie rod end"),
        ("why per blades", "wiper blades"),
        ("the Ivor pulley", "the idler pulley"),
        ("oil pen gasket", "oil pan gasket"),
        ("on the passing your side", "on the passenger side"),
        ("lower Beljoyant", "lower ball joint"),
        ("gold cranking amps", "cold cranking amps"),
        ("engineer filter", "engine air filter"),
        ("license played bulb", "license plate bulb"),
    ],
)
def test_terms_are_found_across_the_bounds_of_words(index: SoundIndex, text: str, meant: str) -> None:
    assert meant in found(index, heard(text))


def test_the_side_before_a_term_stays_as_heard(index: SoundIndex) -> None:
    words = heard("right out or tight rodent")
    candidates = index.find(words)
    assert candidates
    assert all(c.first > 0 for c in candidates)


@pytest.mark.parametrize(
    "text",
    [
        "left rear tire four thirty seconds",
        "430 seconds on the right",
        "twelve point four volts",
        "it isn't left or right no never not",
        "5/32 7mm 12.6",
    ],
)
def test_numbers_sides_and_negations_are_never_changed(index: SoundIndex, text: str) -> None:
    words = heard(text)
    for candidate in index.find(words):
        for word in words[candidate.first : candidate.last]:
            assert not index.is_fixed(word.heard.lower()), (candidate, word)


def test_no_candidate_brings_in_a_number_a_negation_or_a_short_side(index: SoundIndex) -> None:
    for phrase in index.phrases:
        for word in phrase.words:
            assert not any(letter.isdigit() for letter in word)
    words = heard("lift one riot rare knot leaking fore seconds")
    for candidate in index.find(words):
        assert not {"left", "right", "not", "no", "four"} & set(candidate.text.lower().split()), candidate


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("it's got an ale in it", "a nail in it"),  # conditions of everyday words
        ("they are toothed and to cut", "too thin"),
        ("fail the low test", "failed the load"),
        ("the pan's down trans for case is dry", "transfer"),  # a piece is a term of its own
        ("left front turned signals", "turn"),  # another form of a word, where it makes a term
        ("cylinder 2's misferring", "misfiring"),  # "two is", not a count
    ],
)
def test_phrases_of_everyday_words_and_of_terms_are_found_where_they_sound_alike(
    index: SoundIndex, text: str, meant: str
) -> None:
    assert meant in {c.text for c in index.find(heard(text))}


@pytest.mark.parametrize(
    ("text", "not_meant"),
    [
        ("don't throw a bulb in it", "bolt"),  # one term is not exchanged for another
        ("brake pad", "pads"),
        ("2 misferring", "misfiring"),  # what follows a number says what it counts
        ("got a nice one in it", "a nail in it"),  # everyday talk must sound very much alike
    ],
)
def test_and_are_not_where_they_may_not_be(index: SoundIndex, text: str, not_meant: str) -> None:
    assert not_meant not in {c.text for c in index.find(heard(text))}


@pytest.mark.parametrize(
    "text", ["brake pad", "rotor's", "brake pads", "wheel cylinders", "drive shaft", "windscreen"]
)
def test_inflections_and_spacings_are_no_repairs(index: SoundIndex, text: str) -> None:
    assert found(index, heard(text)) <= set()


def test_what_was_heard_with_certainty_is_not_looked_at(index: SoundIndex) -> None:
    assert index.find(heard("why per blades and oil pen gasket", certainty=0.999)) == []
    assert index.find(heard("oil pen gasket", sure=("oil", "pen", "gasket"))) == []
    assert "oil pan gasket" in found(index, heard("oil pen gasket", sure=("oil", "gasket")))


def test_exact_terms_are_not_written_over(index: SoundIndex) -> None:
    for text in ("the shock absorber is seeping", "wheel bearing", "outer tie rod end"):
        assert found(index, heard(text, sure=("the", "is"))) == set(), text


def test_no_repair_on_the_correct_texts(index: SoundIndex) -> None:
    """Every narration of the tune folder as a recogniser with full certainty would write it."""
    texts = sorted(TUNE.glob("*.txt"))
    assert len(texts) >= 10
    for path in texts:
        words = [
            Word(heard=w, read=w, start=n / 3, end=n / 3 + 0.3)
            for n, w in enumerate(path.read_text().split())
        ]
        assert index.find(words) == [], path.name


def test_a_term_of_the_owners_gets_its_sound_by_itself_and_may_say_it(tmp_path: Path) -> None:
    (tmp_path / "components").mkdir()
    (tmp_path / "components" / "engine.csv").write_text(
        "id,name,us,uk,kind_of,part_of,places,place,sets,sounds_like\n"
        "x_one,snorkel flange,,,,,one,,each,\n"
        "x_two,zwyndre ring,,,,,one,,each,swindler ring\n",
        encoding="utf-8",
    )
    (tmp_path / "sounds.csv").write_text("word,like\nzwyndre,S W IH N D R IY\n", encoding="utf-8")
    index = SoundIndex(load_lexicon(lexicon_dir(), tmp_path))
    assert "snorkel flange" in found(index, heard("snore call flange"))
    assert "zwyndre" in joined(found(index, heard("swindler rink")))
    assert "zwyndre" in joined(found(index, heard("swing dree ring")))


# -- asking the sound


def scorer(*right: str, gain: float = 5.0) -> object:
    """Scores a text better for each of the phrases in it that were said."""

    def score(text: str, stretch: Stretch) -> float:
        assert stretch.end > stretch.start
        return sum(gain for phrase in right if phrase in text.lower()) - 20.0

    return score


@pytest.mark.parametrize(
    ("text", "said", "read"),
    [
        (
            "The ride out or tight rodent, is loose.",
            "outer tie rod end",
            "The ride outer tie rod end, is loose.",
        ),
        ("Why per blades streak.", "wiper", "Wiper blades streak."),
        ("the Ivor pulley is noisy", "idler pulley", "the idler pulley is noisy"),
        ("a lower Beljoyant.", "lower ball joint", "a lower ball joint."),
    ],
)
def test_what_the_sound_speaks_for_is_read(tools: LexiconTools, text: str, said: str, read: str) -> None:
    words = heard(text, sure=("The", "the", "is", "streak.", "noisy", "loose.", "a"))
    expected = ("outer tie rod end", "idler pulley", "wiper blades", "lower ball joint")

    def score(asked: str, stretch: Stretch) -> float:
        """What was said fits better than what was heard, everything else much worse."""
        if said in asked.lower() and asked in read:
            return 3.0 - 0.5 * len(asked.split())
        return (0.0 if asked in text else -9.0) - 0.5 * len(asked.split())

    result = mended(words, expected, tools, score)
    assert joined(w.read for w in result) == read
    assert [w.heard for w in result] == text.split()
    changed = [w for w in result if w.read != w.heard]
    assert changed
    assert all("sounds like" in w.why for w in changed)
    assert span_of(tuple(result), 0, len(result)).read == read
    transcript = Transcript(text=read, words=tuple(result))
    assert [t.text for t in tokenise(transcript)] == [
        t.text
        for t in tokenise(Transcript(text=read, words=tuple(Word(heard=w, read=w) for w in read.split())))
    ]


def test_what_the_sound_speaks_against_is_not_read(tools: LexiconTools) -> None:
    words = heard("the Ivor pulley is noisy, why per blades streak")
    assert mended(words, (), tools, scorer("ivor", "why per", gain=30.0)) == words  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("heard_text", "text", "shares"),
    [
        ("out or tight rodent.", "outer tie rod end", ["outer", "tie", "rod", "end."]),
        ("why per", "wiper", ["", "wiper"]),
        ("Beljoyant,", "ball joint", ["ball joint,"]),
        ("a b c d e", "x y", ["", "", "x", "", "y"]),
    ],
)
def test_a_phrase_is_dealt_out_without_loss(heard_text: str, text: str, shares: list[str]) -> None:
    words = heard(heard_text)
    candidate = Candidate(0, len(words), text, text, 0.1, 0.1, 0.5, True, False, 9)
    result = read_as([*words, *heard("and more")], Asked(candidate, 1.0, 0.8))
    shares = [share.capitalize() if words[0].heard[0].isupper() and share else share for share in shares]
    assert [w.read for w in result] == shares
    assert [w.heard for w in result] == heard_text.split()


def test_acceptance_was_learned_and_says_from_what() -> None:
    learned = acceptance()
    assert learned.figures["recordings"]
    near = Candidate(0, 1, "idler", "idler pulley", 0.1, 0.1, 0.3, True, False, 9)
    gained = Compared(Evidence(0, 0, 1), Evidence(1, 2, 0))
    features = features_of(near, gained)
    assert set(learned.weights) == {*features, "gain"}
    assert support(features, 3.0, learned) >= learned.least
    assert support(features, -4.0, learned) < support(features, 0.0, learned)
    against = Asked(near, -15.0, 0.99)
    assert chosen([against], learned) == []
    assert chosen([against._replace(gain=0.0)], learned) == [against._replace(gain=0.0)]
    plain = features_of(near, Compared(gained.heard, gained.heard))
    assert support(features, 0.0, learned) != support(plain, 0.0, learned)


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("the rack stride", "the rack's dry"),
        ("this socket smelted", "this socket's melted"),
    ],
)
def test_a_copula_that_melted_into_the_condition(index: SoundIndex, text: str, meant: str) -> None:
    assert meant in found(index, heard(text))


def test_a_copula_is_put_after_parts_only(index: SoundIndex) -> None:
    assert not any("'s" in text for text in found(index, heard("he can stride", 0.3)))
    assert not any("'s" in text for text in found(index, heard("the rack. stride", 0.3)))


def test_what_follows_a_number_stays(index: SoundIndex) -> None:
    assert found(index, heard("the oil pen gasket"))
    assert found(index, heard("four millimetres", 0.3)) == set()
