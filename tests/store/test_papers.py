"""Decisions, issued estimates, links, consents, work put off; and what the owner decides."""

from __future__ import annotations

from typing import Any

import pytest
from sqlalchemy.orm import Session
from store_kit import NOW, a_draft, a_person, a_walkaround, later

from voicecheck.records import InputError, NotThereError, RefusedError, StaleError
from voicecheck.records.canonical import fingerprint
from voicecheck.store import desk, owner, papers, vehicles, walkarounds
from voicecheck.store.database import Database
from voicecheck.store.tables import Consent, DecisionRow, Issued
from voicecheck.store.values import new_token


def in_review(session: Session) -> tuple[str, str, str]:
    """A walk-around in review: its id, a person's, the draft's."""
    about = a_walkaround(session)
    for state in ("waiting", "working"):
        walkarounds.set_state(session, id=about.id, to=state, now=NOW)
    draft = a_draft(session, walkaround=about.id)
    walkarounds.set_state(session, id=about.id, to="review", now=NOW)
    return about.id, a_person(session).id, draft.id


def decide(session: Session, about: str, person: str, draft: str, *, seq: int) -> DecisionRow:
    return desk.add_decision(
        session, walkaround=about, expected_seq=seq, draft=draft, person=person, kind="confirm",
        decision={"line": "1"}, now=NOW, open_asks=3,
    )  # fmt: skip


def issue(session: Session, about: str, person: str, *, seq: int = 0, **document: Any) -> Issued:
    return papers.issue(
        session, walkaround=about, seq=seq, person=person, document={"jobs": [], **document}, draft={"a": 1},
        total=12345, currency="USD", now=NOW,
    )  # fmt: skip


def answer(session: Session, paper: Issued, **given: Any) -> Consent:
    values: dict[str, Any] = {
        "issued": paper.id, "kind": "answer", "name": "O. Example", "means": "link",
        "fingerprint": paper.fingerprint, "now": NOW, "agreed": ["j1"], "declined": ["j2"],
    }  # fmt: skip
    return papers.add_consent(session, **{**values, **given})


def test_decisions_are_numbered_and_the_slower_is_told(database: Database) -> None:
    with database.session() as session:
        about, person, draft = in_review(session)
        assert decide(session, about, person, draft, seq=0).seq == 1
        assert decide(session, about, person, draft, seq=1).seq == 2
        for seq in (0, 1, 3):
            with pytest.raises(StaleError, match="Somebody else has changed this estimate"):
                decide(session, about, person, draft, seq=seq)
        assert walkarounds.get(session, id=about).open_asks == 3
        assert [row.seq for row in desk.decisions(session, walkaround=about, after=1)] == [2]
        newer = a_draft(session, walkaround=about)
        with pytest.raises(StaleError, match="There is a newer draft"):
            decide(session, about, person, draft, seq=2)
        assert decide(session, about, person, newer.id, seq=2).seq == 3
        assert [row.seq for row in desk.decisions(session, walkaround=about, draft=newer.id)] == [3]
        walkarounds.set_state(session, id=about, to="closed", now=NOW)
        with pytest.raises(RefusedError, match="This walk-around is closed"):
            decide(session, about, person, newer.id, seq=3)


def test_a_draft_is_published_once_per_key(database: Database) -> None:
    with database.session() as session:
        about, other = a_walkaround(session), a_walkaround(session)
        first = a_draft(session, walkaround=about.id, key="k", total="1.00")
        assert a_draft(session, walkaround=about.id, key="k", total="2.00").id == first.id
        assert desk.draft(session, id=first.id).document["total"] == "1.00"
        with pytest.raises(RefusedError, match="belongs to another walk-around"):
            a_draft(session, walkaround=other.id, key="k")
        assert desk.latest_draft(session, walkaround=other.id) is None
        assert len(desk.drafts(session, walkaround=about.id)) == 1


def test_versions(database: Database) -> None:
    with database.session() as session:
        about, person, draft = in_review(session)
        first = issue(session, about, person, total="123.45")
        assert (first.version, walkarounds.get(session, id=about).state) == (1, "issued")
        assert first.fingerprint == fingerprint({"total": "123.45", "jobs": []})
        decide(session, about, person, draft, seq=0)
        with pytest.raises(StaleError, match="Somebody else has changed this estimate"):
            issue(session, about, person, seq=0)
        second = issue(session, about, person, seq=1)
        assert [row.version for row in papers.versions(session, walkaround=about)] == [1, 2]
        latest = papers.latest_issued(session, walkaround=about)
        assert latest is not None
        assert latest.id == second.id
        assert papers.is_unchanged(papers.issued(session, id=first.id))
        fresh = a_walkaround(session)
        with pytest.raises(RefusedError, match="cannot become “issued”"):
            issue(session, fresh.id, person)


def test_links(database: Database) -> None:
    token = new_token()
    with database.session() as session:
        about, person, _ = in_review(session)
        paper = issue(session, about, person)
        link = papers.make_link(
            session, issued=paper.id, token=token, now=NOW, expires=later(days=30), person=person
        )
        assert token not in link.token_hash
        seen = papers.look_up(session, token=token, now=NOW)
        assert (seen.state, seen.newest, seen.issued.id) == ("good", True, paper.id)
        assert papers.look_up(session, token=token, now=later(days=30)).state == "expired"
        with pytest.raises(NotThereError, match="This link is not known"):
            papers.look_up(session, token="guess", now=NOW)
        papers.mark_opened(session, token=token, now=later(hours=1))
        papers.mark_opened(session, token=token, now=later(hours=2))
        assert papers.links(session, issued=paper.id)[0].opened == later(hours=1)
        issue(session, about, person, note="new")
        assert not papers.look_up(session, token=token, now=NOW).newest
        papers.set_expiry(session, token_hash=link.token_hash, expires=later(days=60), now=NOW, person=person)
        assert papers.look_up(session, token=token, now=later(days=30)).state == "good"
        assert papers.revoke_links(session, issued=paper.id, now=NOW, person=person) == 1
        assert papers.revoke_links(session, issued=paper.id, now=NOW, person=person) == 0
        assert papers.look_up(session, token=token, now=NOW).state == "revoked"


def test_consents(database: Database) -> None:
    with database.session() as session:
        about, person, _ = in_review(session)
        paper = issue(session, about, person)
        answer(session, paper)
        with pytest.raises(StaleError, match="not the one that was issued"):
            answer(session, paper, fingerprint="0" * 64)
        with pytest.raises(InputError, match="both agreed to and declined"):
            answer(session, paper, declined=["j1"])
        with pytest.raises(InputError, match="The name is empty"):
            answer(session, paper, name=" ")
        with pytest.raises(InputError, match="no means “pigeon”"):
            answer(session, paper, means="pigeon")
        newer = issue(session, about, person, note="new")
        with pytest.raises(StaleError, match="There is a newer version"):
            answer(session, paper)
        answer(session, paper, kind="question", text="what is a bushing?", now=later(hours=1))
        answer(session, newer, now=later(hours=2))
        said = papers.consents(session, walkaround=about)
        assert [(row.kind, row.issued) for row in said] == [
            ("answer", paper.id), ("question", paper.id), ("answer", newer.id),
        ]  # fmt: skip
        assert len(papers.consents(session, issued=newer.id)) == 1


def test_put_off(database: Database) -> None:
    with database.session() as session:
        about, person, _ = in_review(session)
        paper = issue(session, about, person)
        van = vehicles.note_vehicle(session, plate="AB1", now=NOW)

        def put_off(job: str) -> str:
            return papers.put_off(
                session, vehicle=van.id, issued=paper.id, job=job, title="Rear brakes", what={}, now=NOW
            ).id

        first = put_off("j1")
        assert put_off("j1") == first
        assert put_off("j2") != first
        papers.settle_put_off(session, id=first, how="done", now=later(days=1), person=person)
        with pytest.raises(RefusedError, match="settled already"):
            papers.settle_put_off(session, id=first, how="done", now=NOW, person=person)
        assert [row.job for row in papers.put_off_of(session, vehicle=van.id)] == ["j2"]
        assert len(papers.put_off_of(session, vehicle=van.id, settled_too=True)) == 2


# -- the owner -----------------------------------------------------------------------------------------------


def test_settings(database: Database) -> None:
    with database.session() as session:
        assert owner.get_setting(session, key="retention") is None
        for days in (30, 90, 90):
            owner.set_setting(session, key="retention", value={"days": days}, now=NOW, person=None)
        assert owner.settings(session) == {"retention": {"days": 90}}


def test_suggestions(database: Database) -> None:
    with database.session() as session:

        def suggest(*sentences: str) -> str:
            return owner.suggest(
                session, key="k", kind="name", what={"to": "pads"}, now=NOW,
                sentences=[{"text": sentence} for sentence in sentences],
            ).id  # fmt: skip

        id = suggest("one")
        assert suggest("one", "two") == id
        assert [s["text"] for s in owner.suggestion(session, id=id).sentences] == ["one", "two"]
        assert len(owner.suggestions(session)) == 1
        owner.decide_suggestion(session, id=id, state="declined", now=NOW, person=None)
        suggest("three")
        assert owner.suggestion(session, id=id).state == "declined"
        assert len(owner.suggestion(session, id=id).sentences) == 3
        with pytest.raises(RefusedError, match="was declined already"):
            owner.decide_suggestion(session, id=id, state="adopted", now=NOW, person=None)
        owner.decide_suggestion(session, id=id, state="open", now=NOW, person=None)
        owner.decide_suggestion(session, id=id, state="adopted", now=NOW, person=None)
        assert owner.suggestions(session) == []
        assert len(owner.suggestions(session, state=None)) == 1


def test_lexicon_versions(database: Database) -> None:
    with database.session() as session:
        assert (owner.latest_lexicon_number(session), owner.lexicon_version(session)) == (0, None)
        for number in (1, 2):
            row = owner.add_lexicon_version(
                session, files={"a.csv": str(number)}, note="n", now=NOW, person=None
            )
            assert row.number == number
        newest, first = owner.lexicon_version(session), owner.lexicon_version(session, number=1)
        assert newest is not None
        assert first is not None
        assert (newest.files, first.files) == ({"a.csv": "2"}, {"a.csv": "1"})
        with pytest.raises(NotThereError):
            owner.lexicon_version(session, number=9)
        assert [row.number for row in owner.lexicon_versions(session)] == [2, 1]
