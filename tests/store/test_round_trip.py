"""A row of every table, written by its function and read back as it was."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session
from store_kit import NOW, later

from voicecheck.store import (
    desk,
    history,
    owner,
    papers,
    people,
    recordings,
    vehicles,
    walkarounds,
    workers,
)
from voicecheck.store.database import Database
from voicecheck.store.tables import Base


def fill(session: Session) -> dict[str, str]:
    """At least one row in every table; the ids by name."""
    ids: dict[str, str] = {}
    person = people.add_person(
        session, name="Ines Ruud", login=" Ines ", role="owner", password_hash="$argon2id$…", now=NOW
    )
    ids["person"] = person.id
    people.invite(
        session,
        token="invitation",
        role="technician",
        name="Tom",
        now=NOW,
        expires=later(days=2),
        by=person.id,
    )
    people.begin_session(
        session, token="cookie", person=person.id, csrf="c" * 43, now=NOW, expires=later(hours=8)
    )
    vehicle = vehicles.note_vehicle(
        session, plate="ab 12-cde", vin="1m8gdm9axkp042788", title="2014 blue van",
        customer={"name": "O. Example", "phone": "+1 555 0100"}, now=NOW, person=person.id,
    )  # fmt: skip
    ids["vehicle"] = vehicle.id
    about = walkarounds.create(
        session, market="UK", technician=person.id, vehicle=vehicle.id, title="Van, noise “clonk” 🚐",
        particulars={"complaint": "noise", "odometer": 123456}, now=NOW,
    )  # fmt: skip
    ids["walkaround"] = about.id
    take = recordings.begin_take(
        session,
        walkaround=about.id,
        client_key="phone-1",
        kind="audio/webm;codecs=opus",
        name="a.webm",
        now=NOW,
    )
    ids["take"] = take.id
    recordings.add_part(session, take=take.id, number=0, media="a" * 64, size=7, now=NOW)
    recordings.finish_take(session, take=take.id, parts=1, seconds=4.25, now=NOW)
    recordings.set_transcript(
        session, take=take.id, transcript={"text": "pads at 3 mm", "words": []}, seconds=4.2
    )
    photo = recordings.add_photo(
        session, walkaround=about.id, client_key="photo-1", media="b" * 64, kind="image/jpeg", at=1.5,
        take=take.id, now=NOW,
    )  # fmt: skip
    ids["photo"] = photo.id
    recordings.hand_in(session, walkaround=about.id, now=NOW)
    walkarounds.set_state(session, id=about.id, to="working", now=NOW)
    draft = desk.publish_draft(
        session, walkaround=about.id, key="k1", document={"format": "voicecheck-draft/1", "total": "12.50"},
        now=NOW, open_asks=2, lexicon_version=0,
    )  # fmt: skip
    ids["draft"] = draft.id
    walkarounds.set_state(session, id=about.id, to="review", now=NOW)
    desk.add_decision(
        session, walkaround=about.id, expected_seq=0, draft=draft.id, person=person.id, kind="confirm",
        decision={"kind": "confirm", "line": "1"}, now=NOW,
    )  # fmt: skip
    paper = papers.issue(
        session, walkaround=about.id, seq=1, person=person.id, document={"jobs": [], "total": "12.50"},
        draft={"format": "voicecheck-draft/1"}, total=1250, currency="GBP", now=NOW,
    )  # fmt: skip
    ids["issued"] = paper.id
    papers.make_link(
        session, issued=paper.id, token="customer", now=NOW, expires=later(days=30), person=person.id
    )
    papers.add_consent(
        session, issued=paper.id, kind="answer", name="O. Example", means="phone", contact="+1 555 0100",
        person=person.id, agreed=["j1"], declined=["j2"], amount=1000, currency="GBP",
        fingerprint=paper.fingerprint, text="go ahead", now=NOW,
    )  # fmt: skip
    put_off = papers.put_off(
        session,
        vehicle=vehicle.id,
        issued=paper.id,
        job="j2",
        title="Rear brakes",
        what={"id": "j2"},
        now=NOW,
    )
    ids["put_off"] = put_off.id
    workers.begin(session, executor="bay-1", host="bay", now=NOW)
    owner.set_setting(session, key="retention", value={"days": 90}, now=NOW, person=person.id)
    suggestion = owner.suggest(
        session, key="name:brake_pads:clackers", kind="name", what={"component": "brake_pads"},
        sentences=[{"text": "the clackers are gone", "start": 1.0}], now=NOW,
    )  # fmt: skip
    ids["suggestion"] = suggestion.id
    owner.add_lexicon_version(
        session, files={"sounds.csv": "word,like,notes\n"}, note="first", now=NOW, person=person.id
    )
    return ids


def test_every_table(database: Database) -> None:
    with database.session() as session:
        fill(session)
        written = {
            table.name: [tuple(row) for row in session.execute(select(table))]
            for table in Base.metadata.sorted_tables
        }
    with database.reading() as session:
        read = {
            table.name: [tuple(row) for row in session.execute(select(table))]
            for table in Base.metadata.sorted_tables
        }
    assert {name: len(rows) for name, rows in written.items() if not rows} == {}
    assert read == written


def test_the_values_that_were_given_come_back(database: Database) -> None:
    with database.session() as session:
        ids = fill(session)
    with database.reading() as session:
        person = people.person_by_login(session, login="INES")
        assert person is not None
        assert (person.id, person.login, person.created) == (ids["person"], "ines", NOW)
        shown = walkarounds.listed(session, id=ids["walkaround"])
        assert shown.walkaround.title == "Van, noise “clonk” 🚐"
        assert shown.walkaround.particulars == {"complaint": "noise", "odometer": 123456}
        assert shown.walkaround.state == "issued"
        assert (shown.walkaround.seq, shown.walkaround.run, shown.walkaround.open_asks) == (1, 1, 2)
        assert shown.vehicle is not None
        assert (shown.vehicle.plate, shown.vehicle.vin) == ("AB12CDE", "1M8GDM9AXKP042788")
        take = recordings.take(session, id=ids["take"])
        assert (take.complete, take.seconds_claimed, take.seconds) == (NOW, 4.25, 4.2)
        assert take.transcript == {"text": "pads at 3 mm", "words": []}
        [decision] = desk.decisions(session, walkaround=ids["walkaround"])
        assert (decision.seq, decision.at, decision.decision["line"]) == (1, NOW, "1")
        paper = papers.issued(session, id=ids["issued"])
        assert papers.is_unchanged(paper)
        assert (paper.version, paper.total, paper.currency) == (1, 1250, "GBP")
        [consent] = papers.consents(session, walkaround=ids["walkaround"])
        assert (consent.agreed, consent.declined, consent.amount) == (["j1"], ["j2"], 1000)
        version = owner.lexicon_version(session)
        assert version is not None
        assert (version.number, version.files) == (1, {"sounds.csv": "word,like,notes\n"})
        assert history.check(session).whole


def test_times_are_utc_and_need_a_zone(database: Database) -> None:
    summer = datetime(2031, 7, 1, 12, 0, tzinfo=timezone(timedelta(hours=2)))
    with database.session() as session:
        about = walkarounds.create(session, market="US", now=summer)
    with database.reading() as session:
        created = walkarounds.get(session, id=about.id).created
    assert created == summer
    assert created.tzinfo == UTC
    with pytest.raises(Exception, match="a time without a zone"), database.session() as session:
        walkarounds.create(session, market="US", now=datetime(2031, 7, 1))
