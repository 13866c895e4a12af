from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from voicecheck.lexicon.inflect import number_forms, plural, singulars
from voicecheck.lexicon.normal import normalise_phrase, normalise_token


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("Leaking,", ("leaking",)),
        ("isn’t", ("isn't",)),
        ("‘cause", ("cause",)),
        ("shocks'", ("shocks",)),
        ("tie-rod", ("tie", "rod")),
        ("tie–rod", ("tie", "rod")),
        ("and/or", ("and", "or")),
        ("A/C", ("a", "c")),
        ("A.C.", ("ac",)),
        ("U.K.", ("uk",)),
        ("here.There", ("here", "there")),
        ("3.5.", ("3.5",)),
        (".5", (".5",)),
        ("4/32", ("4/32",)),
        ("½", ("1/2",)),
        ("3½", ("3", "1/2")),
        ("12,000", ("12000",)),
        ("1,234,567.5", ("1234567.5",)),
        ("5,6", ("5", "6")),
        ("60%", ("60", "%")),
        ("40°C", ("40", "°c")),
        ("P0301,", ("p0301",)),
        ("R134a", ("r134a",)),
        ("3mm", ("3mm",)),
        ("—", ()),
        ("...", ()),
        ("", ()),
        ("r&r", ("r", "r")),
        ("_x_", ("x",)),
    ],
)
def test_token(text: str, words: tuple[str, ...]) -> None:
    assert normalise_token(text) == words


def test_phrase_splits_at_spaces_too() -> None:
    assert normalise_phrase("  Right-front  outer\ttie rod end. ") == (
        "right", "front", "outer", "tie", "rod", "end",
    )  # fmt: skip


@given(st.text())
def test_normalising_again_changes_nothing(text: str) -> None:
    once = normalise_phrase(text)
    assert all(word and not any(c.isspace() for c in word) for word in once)
    assert tuple(piece for word in once for piece in normalise_token(word)) == once


@pytest.mark.parametrize(
    ("one", "many"),
    [
        ("bushing", "bushings"),
        ("switch", "switches"),
        ("body", "bodies"),
        ("key", "keys"),
        ("box", "boxes"),
        ("hose", "hoses"),
        ("axle", "axles"),
        ("harness", "harnesses"),
        ("lens", "lenses"),
        ("brush", "brushes"),
    ],
)
def test_both_numbers(one: str, many: str) -> None:
    assert plural(one) == many
    assert singulars(many) == (one,)
    assert many in number_forms(one)
    assert one in number_forms(many)


@pytest.mark.parametrize("word", ["chassis", "harness", "gas", "lens", "radius", "abs", "axis"])
def test_what_is_no_plural_has_no_singular(word: str) -> None:
    assert singulars(word) == ()
