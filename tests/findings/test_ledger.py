"""Where every word went."""

from __future__ import annotations

import pytest
from findings_kit import Found, kinds
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from voicecheck.pipeline import transcript_from_text


def entries(found: Found, text: str) -> list[tuple[str, str]]:
    return kinds(found(text), transcript_from_text(text))


def test_evidence_names_its_findings(found: Found) -> None:
    result = found("Left front strut is leaking.")
    (entry,) = result.ledger.entries
    assert (entry.kind, entry.findings, entry.first, entry.last) == ("evidence", ("f1",), 0, 5)


@pytest.mark.parametrize(
    "text",
    [
        "The pitman moves.",
        "Antenna folds.",
        "Fuel cap locks.",
        "The bearing spins lovely.",
        "Right stud moves.",
    ],
)
def test_what_is_said_of_a_part_that_it_does_not_fit_is_shown(found: Found, text: str) -> None:
    result = found(f"Horn works. {text}")
    assert result.ledger.entries[-1].kind == "unplaced"


def test_talk_is_talk(found: Found) -> None:
    assert entries(found, "Okay, let me get a light. Strut is leaking.") == [
        ("talk", "Okay, let me get a light."),
        ("evidence", "Strut is leaking."),
    ]


@pytest.mark.parametrize(
    "text",
    [
        "Is the strut leaking?",
        "If the strut was leaking you'd see it.",
        "These always leak.",
        "Customer says the strut is leaking.",
    ],
)
def test_questions_suppositions_and_hearsay_are_talk(found: Found, text: str) -> None:
    result = found(text)
    assert result.findings == ()
    assert {entry.kind for entry in result.ledger.entries} == {"talk"}


@pytest.mark.parametrize("text", ["That thing is leaking.", "Strut.", "Replace that.", "It is cracked."])
def test_what_finds_no_place_is_unplaced_or_a_heading(found: Found, text: str) -> None:
    """A condition or advice of nothing is shown; a bare part is a heading."""
    result = found(text)
    assert result.findings == ()
    (entry,) = result.ledger.entries
    assert entry.kind == ("talk" if text == "Strut." else "unplaced")
    assert entry.why


@pytest.mark.parametrize(
    "text",
    [
        "Left front four thirty-seconds.",
        "Twelve point four volts.",
        "Left rear, six and six.",
        "Thirty-two p s i.",
        "Three millimeters on the inside.",
    ],
)
def test_a_reading_without_a_part_is_not_lost(found: Found, text: str) -> None:
    result = found(text)
    assert result.findings or any(entry.kind == "unplaced" for entry in result.ledger.entries)


@pytest.mark.parametrize(
    "text",
    [
        "It has ninety thousand miles on it.", "I got ten minutes.", "Van forty one.",
        "He stands ten feet away.", "I've only got two things on it.",
    ],
)  # fmt: skip
def test_a_number_of_other_things_is_talk(found: Found, text: str) -> None:
    result = found(f"Horn works. {text}")
    assert "unplaced" not in {entry.kind for entry in result.ledger.entries}


def test_an_exception_is_not_lost(found: Found) -> None:
    result = found("All the lights work except the left brake light.")
    assert result.findings or any(entry.kind == "unplaced" for entry in result.ledger.entries)


def test_a_leak_onto_something_is_not_lost(found: Found) -> None:
    result = found("The oil pan gasket is leaking onto the exhaust.")
    assert result.findings or any(entry.kind == "unplaced" for entry in result.ledger.entries)


def test_a_corrected_word_stays_evidence(found: Found) -> None:
    evidence = [
        words
        for kind, words in entries(found, "Left front strut is leaking. No, sorry, the right front.")
        if kind == "evidence"
    ]
    assert evidence[0].startswith("Left front strut is leaking.")
    assert evidence[-1].endswith("right front.")


def test_a_general_remark_that_names_the_part_is_talk(found: Found) -> None:
    assert found("These struts always leak.").findings == ()


def test_what_was_taken_back_is_no_evidence(found: Found) -> None:
    result = found("The battery is dead. Scratch that.")
    assert all(entry.kind != "evidence" for entry in result.ledger.entries)


_WORDS = (
    "the left right front rear boot strut pads oil pan gasket is not torn leaking worn if customer says no "
    "sorry , . ? replace both might be moving on four mil thirty-seconds other side same scratch that except "
    "all needs a bulb onto exhaust battery good didn't check so well um"
)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.one_of(
        st.lists(st.sampled_from(_WORDS.split()), min_size=1, max_size=30).map(" ".join), st.text(max_size=50)
    )
)
def test_every_word_once_and_every_finding_has_evidence(found: Found, text: str) -> None:
    if not any(letter.isalnum() for letter in text):
        return
    transcript = transcript_from_text(text)
    result = found(text)
    covered = [word for entry in result.ledger.entries for word in range(entry.first, entry.last)]
    assert covered == list(range(len(transcript.words)))
    ids = {finding.id for finding in result.findings}
    assert len(ids) == len(result.findings)
    owned: dict[str, set[int]] = {}
    for entry in result.ledger.entries:
        assert entry.first < entry.last
        assert (entry.kind == "evidence") == bool(entry.findings)
        assert set(entry.findings) <= ids
        assert entry.kind != "unplaced" or entry.why
        for name in entry.findings:
            owned.setdefault(name, set()).update(range(entry.first, entry.last))
    for finding in result.findings:
        assert finding.heard, "a finding without words"
        assert owned[finding.id] == {w for span in finding.heard for w in range(span.first, span.last)}
        assert finding.done_with is None or finding.done_with in ids
        for name, certainty in finding.certainty.items():
            assert 0.0 <= certainty <= 1.0, name


@pytest.mark.parametrize("place", ["", "Left front ", "The rear ", "Driver side "])
@pytest.mark.parametrize("fault", ["is leaking", "is cracked", "has play", "needs replacing"])
@pytest.mark.parametrize("unknown", ["pogo stick", "wobbler", "flux fork"])
def test_a_part_that_nobody_has_heard_of_is_not_lost(
    found: Found, place: str, fault: str, unknown: str
) -> None:
    """A fault or advice of an unknown part, wherever it is said to be, is shown to the advisor."""
    result = found(f"{place}{unknown} {fault}, replace it. Cabin filter is dirty.")
    lost = [entry for entry in result.ledger.entries if entry.first <= 3 and entry.kind == "talk"]
    assert lost == []


@pytest.mark.parametrize(
    "text",
    [
        "Left front.", "Moving on to the right rear.", "Now the front end.", "Everything else is fine.",
        "Steering next.", "Now the fuel cap.", "Okay, good, under the hood.", "Wheel locks.",
    ],
)  # fmt: skip
def test_where_somebody_goes_is_talk(found: Found, text: str) -> None:
    result = found(f"{text} Cabin filter is dirty.")
    assert result.ledger.entries[0].kind == "talk"
    assert {entry.kind for entry in result.ledger.entries} == {"talk", "evidence"}


@pytest.mark.parametrize(
    "text",
    [
        "It clicks behind the panel when you go hot to cold.",
        "There's a whine at highway speed.",
        "Something's dripping onto the subframe.",
    ],
)
def test_a_fault_without_a_part_is_not_lost_behind_where_and_when(found: Found, text: str) -> None:
    """Words on where something lands, or when, are talk beside a finding; alone they hide no fault."""
    result = found(f"Cabin filter is fine. {text}")
    after = [entry for entry in result.ledger.entries if entry.first >= 4]
    assert after
    assert all(entry.kind != "talk" for entry in after if entry.last - entry.first > 2)
