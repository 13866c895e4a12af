"""People, invitations, sessions."""

from __future__ import annotations

import pytest
from sqlalchemy import text
from store_kit import NOW, a_person, later

from voicecheck.records import InputError, NotThereError, RefusedError
from voicecheck.store import history, people
from voicecheck.store.database import Database
from voicecheck.store.values import hash_of, new_token


def test_logins_are_one_of_a_kind_in_any_case(database: Database) -> None:
    with database.session() as session:
        first = a_person(session, login="Ines")
        found = people.person_by_login(session, login=" INES ")
        assert found is not None
        assert found.id == first.id
        with pytest.raises(InputError, match="There is somebody with the login ines already"):
            a_person(session, login="iNes")
        with pytest.raises(InputError, match="no role boss"):
            a_person(session, login="b", role="boss")
        with pytest.raises(InputError, match="The login is empty"):
            people.add_person(session, name="A", login=" ", role="owner", password_hash="x", now=NOW)
        with pytest.raises(InputError, match="has 121 characters; at most 120 fit"):
            people.add_person(session, name="A" * 121, login="c", role="owner", password_hash="x", now=NOW)


def test_the_last_owner_stays(database: Database) -> None:
    with database.session() as session:
        owner, other = a_person(session, role="owner"), a_person(session, role="advisor")
        with pytest.raises(RefusedError, match="is the only owner"):
            people.person_leaves(session, id=owner.id, now=NOW, by=owner.id)
        with pytest.raises(RefusedError, match="is the only owner"):
            people.change_person(session, id=owner.id, role="advisor", now=NOW, by=owner.id)
        people.change_person(session, id=other.id, role="owner", now=NOW, by=owner.id)
        people.person_leaves(session, id=owner.id, now=NOW, by=other.id)
        assert people.count_people(session, role="owner") == 1
        assert [person.id for person in people.people(session)] == [other.id]
        assert len(people.people(session, with_left=True)) == 2
        people.person_returns(session, id=owner.id, now=NOW, by=other.id)
        assert people.count_people(session) == 2


def test_a_session_lasts_until_it_ends(database: Database) -> None:
    token, other = new_token(), new_token()
    with database.session() as session:
        person = a_person(session)
        for value in (token, other):
            people.begin_session(
                session, token=value, person=person.id, csrf="c", now=NOW, expires=later(hours=1)
            )
    with database.reading() as session:
        seen = people.visit(session, token=token, now=later(minutes=59))
        assert seen is not None
        assert seen.person.id == person.id
        assert people.visit(session, token=token, now=later(hours=1)) is None
        assert people.visit(session, token="guess", now=NOW) is None
        kept = session.scalars(text("SELECT token_hash FROM sessions")).all()
        assert sorted(kept) == sorted([hash_of(token), hash_of(other)])  # never the token itself
    with database.session() as session:
        people.touch_session(session, token=token, now=later(minutes=59), expires=later(hours=2))
        assert people.visit(session, token=token, now=later(hours=1)) is not None
        assert people.end_sessions_of(session, person=person.id, but=token) == 1
        people.end_session(session, token=token, now=NOW)
        people.end_session(session, token=token, now=NOW)
        assert people.visit(session, token=token, now=NOW) is None


def test_leaving_and_a_new_password_end_sessions(database: Database) -> None:
    with database.session() as session:
        a_person(session, role="owner")
        for end in (people.person_leaves, people.set_password):
            person, token = a_person(session), new_token()
            people.begin_session(
                session, token=token, person=person.id, csrf="c", now=NOW, expires=later(days=1)
            )
            more = {"password_hash": "new"} if end is people.set_password else {}
            end(session, id=person.id, now=NOW, by=None, **more)
            assert people.visit(session, token=token, now=NOW) is None


def test_expired_sessions_go(database: Database) -> None:
    with database.session() as session:
        person = a_person(session)
        for hours in (1, 3):
            people.begin_session(
                session, token=new_token(), person=person.id, csrf="c", now=NOW, expires=later(hours=hours)
            )
        assert people.drop_expired_sessions(session, now=later(hours=2)) == 1


def test_an_invitation_is_used_once(database: Database) -> None:
    token = new_token()
    with database.session() as session:
        people.invite(session, token=token, role="advisor", now=NOW, expires=later(days=1), by=None)
        assert len(people.open_invitations(session, now=NOW)) == 1
        assert people.invitation(session, token=token, now=later(days=2)) is None
        with pytest.raises(InputError, match="has expired"):
            people.use_invitation(session, token=token, now=later(days=1))
        assert people.use_invitation(session, token=token, now=NOW).role == "advisor"
        with pytest.raises(InputError, match="was used already"):
            people.use_invitation(session, token=token, now=NOW)
        with pytest.raises(InputError, match="is not known"):
            people.use_invitation(session, token="guess", now=NOW)
        assert people.open_invitations(session, now=NOW) == []


def test_an_invitation_withdrawn(database: Database) -> None:
    token = new_token()
    with database.session() as session:
        row = people.invite(session, token=token, role="advisor", now=NOW, expires=later(days=1), by=None)
        people.withdraw_invitation(session, token_hash=row.token_hash, now=NOW, by=None)
        assert people.invitation(session, token=token, now=NOW) is None


def test_nobody(database: Database) -> None:
    with database.reading() as session, pytest.raises(NotThereError, match="There is no such person"):
        people.person(session, id="0" * 32)


def test_history_tells_no_secrets(database: Database) -> None:
    with database.session() as session:
        person = people.add_person(
            session,
            name="Secret Name",
            login="secret-login",
            role="owner",
            password_hash="secret-hash",
            now=NOW,
        )
        people.begin_session(
            session,
            token="secret-token",
            person=person.id,
            csrf="secret-csrf",
            now=NOW,
            expires=later(days=1),
        )
        people.invite(
            session, token="secret-invitation", role="owner", name="Secret", now=NOW, expires=NOW, by=None
        )
        told = " ".join(str(row.details) for row in history.rows(session))
    assert "ecret" not in told
