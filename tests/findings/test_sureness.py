"""Certainty that was learned: what is counted, what the weights make of it, and when work is asked about."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from voicecheck.findings import Finder
from voicecheck.findings.sureness import Judged, Sureness
from voicecheck.language import Reader
from voicecheck.lexicon import Lexicon
from voicecheck.pipeline import Workshop, load_sureness, transcript_from_text
from voicecheck.records import DataError, FindingsResult
from voicecheck.resources import shared_dir

FIELDS: tuple[Judged, ...] = ("component", "positions", "state", "action", "finding")


def sureness(ask_below: float, **weights: float) -> Sureness:
    return Sureness(weights={field: dict(weights) for field in FIELDS}, ask_below=ask_below)


def find(reader: Reader, finder: Finder, text: str) -> tuple[FindingsResult, list[dict[str, float]]]:
    transcript = transcript_from_text(text)
    return finder.find_with_evidence(reader.read(transcript), transcript)


def test_the_counts_tell_plain_words_from_inferred_ones(reader: Reader, lexicon: Lexicon) -> None:
    _, (plain,) = find(reader, Finder(lexicon), "Left front tie rod end is loose, replace it.")
    assert (plain["bare"], plain["said_action"], plain["nowhere"], plain["unnamed"]) == (0, 1, 0, 0)
    _, (bare,) = find(reader, Finder(lexicon), "It needs a tie rod end.")
    assert (bare["bare_priced"], bare["nowhere"], bare["inferred_action"]) == (1, 1, 1)
    _, (fine,) = find(reader, Finder(lexicon), "Left front tie rod end is tight.")
    assert (fine["ok"], fine["priced"]) == (1, 0)


def test_evidence_from_several_clauses_is_counted(reader: Reader, lexicon: Lexicon) -> None:
    _, (near,) = find(reader, Finder(lexicon), "The water pump is leaking.")
    _, (far,) = find(reader, Finder(lexicon), "The water pump is leaking. It is noisy. Replace it.")
    assert near["clauses"] == 0 < far["clauses"]


def test_an_unsure_finding_with_work_asks_once_and_in_the_words_heard(
    reader: Reader, lexicon: Lexicon
) -> None:
    text = "The water pump is leaking, replace it. The horn is fine."
    result, _ = find(reader, Finder(lexicon, sureness=sureness(0.7, const=0.0)), text)
    pump, horn = result.findings
    assert pump.certainty["finding"] == 0.5
    assert [ask.code for ask in pump.asks] == ["unsure"]
    assert "water pump is leaking" in pump.asks[0].message
    assert "replace water pump" in pump.asks[0].message
    assert horn.asks == ()  # nothing is charged for a horn that is fine
    sure, _ = find(reader, Finder(lexicon, sureness=sureness(0.7, const=2.0)), text)
    assert all(not finding.asks for finding in sure.findings)


def test_without_what_was_learned_nothing_of_it_shows(reader: Reader, lexicon: Lexicon) -> None:
    result, _ = find(reader, Finder(lexicon), "The water pump is leaking, replace it.")
    assert "finding" not in result.findings[0].certainty
    assert result.findings[0].asks == ()


@given(
    st.dictionaries(st.sampled_from(["a", "b"]), st.floats(-1e6, 1e6)),
    st.dictionaries(st.sampled_from(["a", "b", "c"]), st.floats(-2, 2)),
)
def test_a_certainty_is_a_share(weights: dict[str, float], counts: dict[str, float]) -> None:
    assert 0.0 <= sureness(0.5, **weights).certainty("state", counts) <= 1.0


def test_the_shipped_weights_know_every_count_and_tell_right_from_wrong(workshop: Workshop) -> None:
    shipped = load_sureness(shared_dir() / "sureness.json")
    text = "Left front tie rod end is loose, replace it."
    transcript = transcript_from_text(text)
    _, (counts,) = workshop.finder.find_with_evidence(workshop.reader.read(transcript), transcript)
    second = {name for name in shipped.weights["finding"] if name.startswith("second_")}
    assert second
    assert set(counts) | second == set(shipped.weights["finding"])
    assert set(shipped.weights) == set(FIELDS)
    counts |= dict.fromkeys(second - {"second_found", "second_changed"}, 0.9)
    plain = shipped.certainty("finding", counts)
    doubted = counts | dict.fromkeys(second - {"second_found", "second_changed"}, 0.3)
    assert plain > shipped.certainty("finding", doubted)
    told_apart = shipped.figures["finding: told apart"]
    assert isinstance(told_apart, float)
    assert 0.5 < told_apart < 1.0


def test_a_broken_file_is_named(tmp_path: Path) -> None:
    path = tmp_path / "sureness.json"
    for text in ("", "{", '{"weights": {}}'):
        path.write_text(text)
        with pytest.raises(DataError, match=r"sureness\.json"):
            load_sureness(path)
    with pytest.raises(DataError, match=r"gone\.json"):
        load_sureness(tmp_path / "gone.json")
