"""The chain of history, and who takes over from silent workers."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import text
from sqlalchemy.orm import Session
from store_kit import NOW, a_walkaround, later

from voicecheck.records.canonical import canonical, fingerprint
from voicecheck.store import history, workers
from voicecheck.store.database import Database
from voicecheck.store.tables import History

TRIGGERS = {
    "sqlite": tuple(f"DROP TRIGGER history_no_{change}" for change in ("update", "delete", "replace")),
    "postgres": ("DROP TRIGGER history_append_only ON history",),
}


def tamper(session: Session, *statements: str) -> None:
    """What somebody with the file in hand could do."""
    kind = "sqlite" if session.get_bind().dialect.name == "sqlite" else "postgres"
    for statement in (*TRIGGERS[kind], *statements):
        session.execute(text(statement))
    session.expire_all()


def test_rows_follow_one_another(database: Database) -> None:
    with database.session() as session:
        for number in range(5):
            history.record(
                session, what="did", now=NOW, person="p", details={"n": number, "x": [1.5, "é", None]}
            )
    with database.session() as session:
        about = a_walkaround(session)
    with database.reading() as session:
        chain = history.check(session)
        assert (chain.rows, chain.whole) == (6, True)
        newest = history.rows(session, limit=2)
        assert [row.number for row in newest] == [6, 5]
        assert [row.number for row in history.rows(session, before=5, limit=2)] == [4, 3]
        assert [row.number for row in history.rows(session, walkaround=about.id)] == [6]
        assert len(history.rows(session, person="p")) == 5
        assert newest[0].before == newest[1].hash


@pytest.mark.parametrize(
    ("statement", "broken_at", "why"),
    [
        ("UPDATE history SET what = 'did not' WHERE number = 3", 3, "row 3 was changed"),
        ("UPDATE history SET details = '{\"n\": 7}' WHERE number = 2", 2, "row 2 was changed"),
        ("UPDATE history SET person = 'q' WHERE number = 5", 5, "row 5 was changed"),
        ("DELETE FROM history WHERE number = 2", 2, "row 2 is missing"),
        ("UPDATE history SET number = 9 WHERE number = 5", 5, "row 5 is missing"),
        ("UPDATE history SET hash = before WHERE number = 4", 4, "row 4 was changed"),
    ],
)
def test_a_break_is_found(database: Database, statement: str, broken_at: int, why: str) -> None:
    with database.session() as session:
        for number in range(5):
            history.record(session, what="did", now=NOW, details={"n": number})
        tamper(session, statement)
        chain = history.check(session)
    assert (chain.broken_at, chain.why) == (broken_at, why)


def test_a_changed_row_with_a_new_hash_breaks_the_next(database: Database) -> None:
    with database.session() as session:
        rows = [history.record(session, what="did", now=NOW, details={"n": n}) for n in range(3)]
        forged = History(
            number=2, at=NOW, person=None, walkaround=None, what="forged", details={}, before=rows[0].hash
        )
        tamper(
            session,
            "UPDATE history SET what = 'forged', details = '{}', "
            f"hash = '{history._hash(forged)}' WHERE number = 2",
        )
        chain = history.check(session)
    assert (chain.broken_at, chain.why) == (3, "row 3 does not follow from the one before")


def test_rows_cut_off_at_the_end_show_against_a_noted_head(database: Database) -> None:
    with database.session() as session:
        for number in range(3):
            history.record(session, what="did", now=NOW, details={"n": number})
        noted = history.check(session)
        tamper(session, "DELETE FROM history WHERE number = 3")
        assert history.check(session).whole  # by itself it cannot know
        chain = history.check(session, head=(noted.rows, noted.head))
    assert (chain.broken_at, chain.whole) == (3, False)


JSON = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53), 2**53) | st.floats(allow_nan=False,
    allow_infinity=False) | st.text(st.characters(exclude_categories=["Cs"])), lambda inner: st.lists(inner,
    max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3), max_leaves=8, )  # fmt: skip


@given(st.dictionaries(st.text(max_size=5), JSON, max_size=4))
def test_a_fingerprint_is_of_the_content_not_of_the_order(document: dict[str, object]) -> None:
    import json

    turned = dict(reversed(list(document.items())))
    assert canonical(turned) == canonical(document)
    again = json.loads(canonical(document))
    assert fingerprint(again) == fingerprint(document)


# -- workers -------------------------------------------------------------------------------------------------


def test_a_silent_worker_is_claimed_once(database: Database) -> None:
    with database.session() as session:
        for name in ("a", "b", "c"):
            workers.begin(session, executor=name, host="h", now=NOW)
    with database.session() as session:
        for name in ("b", "c"):
            assert workers.beat(session, executor=name, now=later(seconds=31))
        assert workers.claim_silent(session, by="b", now=later(seconds=29)) == []
        assert workers.claim_silent(session, by="b", now=later(seconds=31)) == ["a"]
        assert workers.claim_silent(session, by="c", now=later(seconds=31)) == []
        assert not workers.beat(session, executor="a", now=later(seconds=32))  # it learns of it …
        workers.begin(session, executor="a", host="h", now=later(seconds=32))
        assert workers.beat(session, executor="a", now=later(seconds=33))  # … and counts again
        assert [row.executor for row in workers.alive(session, now=later(seconds=33))] == ["a", "b", "c"]


def test_with_a_claimer_that_dies_go_its_claims(database: Database) -> None:
    with database.session() as session:
        for name, seconds in (("a", 0), ("b", 40), ("c", 80)):
            workers.begin(session, executor=name, host="h", now=later(seconds=seconds))
        assert workers.claim_silent(session, by="b", now=later(seconds=40)) == ["a"]
        assert workers.claim_silent(session, by="c", now=later(seconds=80)) == ["a", "b"]
        assert workers.claimed_by(session, by="c") == ["a", "b"]


def test_who_stops_is_silent_at_once(database: Database) -> None:
    with database.session() as session:
        for name in ("a", "b"):
            workers.begin(session, executor=name, host="h", now=NOW)
        workers.stop(session, executor="a", now=NOW)
        assert workers.claim_silent(session, by="b", now=NOW) == ["a"]
        assert len(workers.all_of_them(session)) == 2
