"""Walk-arounds: states, lists, search; and vehicles."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from store_kit import NOW, a_person, a_walkaround, later

from voicecheck.records import InputError, NotThereError, RefusedError
from voicecheck.store import history, vehicles, walkarounds
from voicecheck.store.database import Database
from voicecheck.store.tables import WALKAROUND_STATES, Walkaround
from voicecheck.store.walkarounds import TRANSITIONS


def test_every_state_has_its_transitions() -> None:
    assert set(TRANSITIONS) == set(WALKAROUND_STATES)
    assert all(after <= set(WALKAROUND_STATES) - {state} for state, after in TRANSITIONS.items())


def test_only_allowed_changes_of_state(sqlite: Database) -> None:
    for state in WALKAROUND_STATES:
        for to in WALKAROUND_STATES:
            with sqlite.session() as session:
                about = a_walkaround(session)
                about.state = state
                session.flush()
                before = len(history.rows(session, walkaround=about.id))
                if to == state or to in TRANSITIONS[state]:
                    walkarounds.set_state(session, id=about.id, to=to, now=NOW)
                    assert about.state == to
                    told = len(history.rows(session, walkaround=about.id)) - before
                    assert told == (0 if to == state else 1)
                else:
                    with pytest.raises(RefusedError, match=f"is “{state}” and cannot become “{to}”"):
                        walkarounds.set_state(session, id=about.id, to=to, now=NOW)
                    assert about.state == state


def test_trouble_goes_with_failed_only(database: Database) -> None:
    with database.session() as session:
        about = a_walkaround(session)
        walkarounds.set_state(session, id=about.id, to="failed", now=NOW, trouble="No speech was found.")
        assert about.trouble == "No speech was found."
        walkarounds.set_state(session, id=about.id, to="waiting", now=later(minutes=1))
        assert (about.trouble, about.run, about.received) == ("", 1, later(minutes=1))


def test_progress_only_while_working(database: Database) -> None:
    with database.session() as session:
        about = a_walkaround(session)
        walkarounds.set_progress(session, id=about.id, stage="listening", share=0.5)
        session.refresh(about)
        assert about.stage == ""
        walkarounds.set_state(session, id=about.id, to="waiting", now=NOW)
        walkarounds.set_state(session, id=about.id, to="working", now=NOW)
        walkarounds.set_progress(session, id=about.id, stage="listening", share=7.0)
        session.refresh(about)
        assert (about.stage, about.share) == ("listening", 1.0)
        walkarounds.set_state(session, id=about.id, to="review", now=NOW)
        assert (about.stage, about.share, about.drafted) == ("", 0.0, NOW)


def test_a_phone_that_begins_twice(database: Database) -> None:
    id = "0123456789abcdef" * 2
    with database.session() as session:
        tom, eva = a_person(session), a_person(session)
        first = a_walkaround(session, id=id, technician=tom.id, title="van")
        again = a_walkaround(session, id=id, technician=tom.id, title="other")
        assert (again.id, again.title, first.id) == (id, "van", id)
        with pytest.raises(RefusedError, match="belongs to somebody else"):
            a_walkaround(session, id=id, technician=eva.id)
        with pytest.raises(InputError, match="32 hex digits"):
            a_walkaround(session, id="../x")


def test_pages_give_every_row_once_newest_first(database: Database) -> None:
    with database.session() as session:
        # Several of the same moment, so that the order within it counts too.
        ids = {a_walkaround(session, now=later(minutes=number // 3)).id for number in range(25)}
    seen: list[Walkaround] = []
    after, pages = None, 0
    with database.reading() as session:
        while pages == 0 or after is not None:
            page = walkarounds.page(session, after=after, limit=10)
            seen += [row.walkaround for row in page.rows]
            after, pages = page.after, pages + 1
    assert pages == 3
    assert {row.id for row in seen} == ids
    assert len(seen) == 25
    assert all((a.created, a.id) > (b.created, b.id) for a, b in pairwise(seen))


@pytest.mark.parametrize("after", ["", "x", "2031-01-01T00:00:00_abc", "_", "2031-99-01T00:00:00+00:00_a"])
def test_a_place_that_is_none_is_the_first_page(sqlite: Database, after: str) -> None:
    with sqlite.session() as session:
        a_walkaround(session)
        assert len(walkarounds.page(session, after=after).rows) == 1


def test_lists_by_state_technician_and_words(database: Database) -> None:
    with database.session() as session:
        tom = a_person(session)
        van = vehicles.note_vehicle(
            session, plate="ab12 cde", vin="1M8GDM9AXKP042788", title="Blue van", now=NOW
        )
        first = a_walkaround(session, technician=tom.id, vehicle=van.id, title="clonk at the front")
        second = a_walkaround(session, title="100 % brakes_old")
        walkarounds.set_state(session, id=second.id, to="closed", now=NOW)

        def found(**given: object) -> list[str]:
            page = walkarounds.page(session, **given)  # type: ignore[arg-type]
            return [row.walkaround.id for row in page.rows]

        assert found(states=("closed",)) == [second.id]
        assert found(technician=tom.id) == [first.id]
        assert found(vehicle=van.id) == [first.id]
        for words in ("B12C", "ab 12", "p0427", "CLONK", "blue V"):
            assert found(search=words) == [first.id], words
        assert found(search="100 %") == [second.id]
        assert found(search="s_o") == [second.id]
        assert found(search="%") == [second.id]  # no wildcard of the database
        assert found(search="nothing like it") == []
        [row] = walkarounds.page(session, technician=tom.id).rows
        assert row.technician is not None
        assert (row.technician.id, row.vehicle and row.vehicle.id) == (tom.id, van.id)
        assert walkarounds.counts(session)["closed"] == 1
        assert walkarounds.counts(session, technician=tom.id)["closed"] == 0
        assert set(walkarounds.counts(session)) == set(WALKAROUND_STATES)


def test_describing(database: Database) -> None:
    with database.session() as session:
        about = a_walkaround(session, particulars={"complaint": "noise"})
        walkarounds.describe(session, id=about.id, title="van", particulars={"odometer": 5}, now=NOW)
        assert (about.title, about.particulars) == ("van", {"complaint": "noise", "odometer": 5})
        told = history.rows(session, walkaround=about.id)[0]
        assert (told.what, told.details) == ("described", {"fields": ["particulars", "title"]})
        walkarounds.describe(session, id=about.id, title="van", now=NOW)
        assert history.rows(session, walkaround=about.id)[0].number == told.number  # nothing new to tell
        with pytest.raises(NotThereError, match="no such vehicle"):
            walkarounds.describe(session, id=about.id, vehicle="0" * 32, now=NOW)


def test_nothing_there(database: Database) -> None:
    with database.reading() as session, pytest.raises(NotThereError, match="There is no such walk-around"):
        walkarounds.get(session, id="nothing")


# -- vehicles ------------------------------------------------------------------------------------------------


def test_a_vehicle_is_known_again(database: Database) -> None:
    with database.session() as session:
        first = vehicles.note_vehicle(session, plate="AB 12", now=NOW)
        same = vehicles.note_vehicle(session, plate="ab-12", vin="1m8gdm9axkp042788", now=NOW)
        assert (same.id, same.vin) == (first.id, "1M8GDM9AXKP042788")
        other = vehicles.note_vehicle(session, plate="AB12", vin="2M8GDM9AXKP042788", now=later(days=1))
        assert other.id != first.id  # the plate has moved to another vehicle
        by_vin = vehicles.find_vehicle(session, vin="1M8GDM9AXKP042788", plate="ZZ9")
        assert by_vin is not None
        assert by_vin.id == first.id
        assert vehicles.find_vehicle(session) is None
        assert [row.id for row in vehicles.search_vehicles(session, words="ab1")] == [other.id, first.id]
        assert vehicles.search_vehicles(session, words=" ") == []
        with pytest.raises(InputError, match="A VIN has 17 characters, this one 18"):
            vehicles.change_vehicle(session, id=first.id, vin="1" * 18, now=NOW)


def test_two_without_plate_are_two(database: Database) -> None:
    with database.session() as session:
        ids = {vehicles.note_vehicle(session, title="grey one", now=NOW).id for _ in range(2)}
    assert len(ids) == 2


@given(st.text())
def test_marks_are_tidy_once_and_for_all(value: str) -> None:
    tidy = vehicles.tidy_mark(value)
    assert vehicles.tidy_mark(tidy) == tidy
    assert tidy.isalnum() or not tidy
