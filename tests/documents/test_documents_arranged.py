"""Reading order: nothing lost, nothing twice."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sample_draft import empty_draft, sample_draft, uk_draft

from voicecheck.documents.arranged import Row, arrange, pieces, rows_of
from voicecheck.records import Ask, Draft, Ledger, LedgerEntry, Transcript, Word


@pytest.mark.parametrize("draft", [sample_draft(), uk_draft(), empty_draft()], ids=lambda d: d.recording.name)
def test_every_finding_has_one_home(draft: Draft) -> None:
    arranged = arrange(draft)
    under_lines = [f for p in arranged.parts for j in p.jobs for g in j.groups for f in g.findings]
    listed = [f for shown in arranged.sections.values() for f in shown]
    homes = [f.finding.id for f in (*under_lines, *listed) if f.home]
    assert sorted(homes) == sorted(f.id for f in draft.findings)


def test_states_go_to_their_sections() -> None:
    sections = arrange(sample_draft()).sections
    ids = {name: [f.finding.id for f in found] for name, found in sections.items()}
    assert ids == {
        "unlisted": ["f17"],
        "suspected": ["f8"],
        "watch": ["f14"],
        "not_checked": ["f16"],
        "fine": ["f2", "f13", "f15"],
    }


def test_an_ask_on_a_finding_and_on_its_line_is_one_question() -> None:
    questions = arrange(sample_draft()).questions
    side = [q for q in questions if q.ask.code == "side_doubtful"]
    assert len(side) == 1
    assert len(side[0].about) == 2
    assert [q.number for q in questions] == list(range(1, len(questions) + 1))


def test_the_same_words_asked_about_two_things_are_two_questions() -> None:
    ask = Ask(code="side_not_said", message="Which side?")
    draft = sample_draft()
    findings = tuple(
        f.model_copy(update={"asks": (ask,)}) if f.id in {"f13", "f17"} else f for f in draft.findings
    )
    questions = arrange(draft.model_copy(update={"findings": findings})).questions
    assert sum(q.ask == ask for q in questions) == 2


@given(
    st.integers(0, 60),
    st.lists(st.tuples(st.integers(0, 70), st.integers(0, 70)).map(sorted), max_size=6),
)
def test_rows_cover_every_word_once_whatever_the_ledger_says(count: int, spans: list[list[int]]) -> None:
    words = tuple(Word(heard=f"w{i}", read=f"w{i}", start=i * 0.4, end=i * 0.4 + 0.3) for i in range(count))
    entries = tuple(LedgerEntry(first=a, last=b, kind="talk") for a, b in spans)
    draft = empty_draft().model_copy(
        update={"transcript": Transcript(text="", words=words), "ledger": Ledger(entries=entries)}
    )
    for rows in (arrange(draft).rows, rows_of(draft.transcript)):
        covered = [at for row in rows if isinstance(row, Row) for at in range(row.first, row.last)]
        assert covered == list(range(count))


def test_unheard_speech_stands_in_its_place_in_time() -> None:
    draft = sample_draft()
    starts = [row.start for row in arrange(draft).rows]
    assert len(starts) == len(draft.ledger.entries) + len(draft.transcript.unheard)
    assert starts == sorted(s for s in starts if s is not None)


def test_capitals_and_punctuation_are_no_repair() -> None:
    words = (Word(heard="pads,", read="Pads"), Word(heard="either", read="idler"), Word(heard="um", read=""))
    found = pieces(words, 0, 3)
    assert [(p.repaired, p.heard, p.read) for p in found] == [
        (False, "pads,", "Pads"),
        (True, "either um", "idler"),
    ]


def test_jobs_without_any_price_are_not_a_zero() -> None:
    parts = {part.urgency: part for part in arrange(sample_draft()).parts}
    unknown = {j.job.title for p in parts.values() for j in p.jobs if j.unknown}
    assert unknown == {"Left rear lug nut", "Exhaust hanger", "Drive belt"}
    assert not any(part.unknown for part in parts.values())
