"""Recordings in parts: in any order, twice, with gaps; what arrived is what is put together."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path
from uuid import uuid4

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from store_kit import NOW, a_take, a_walkaround, later, ready_database
from test_round_trip import fill

from voicecheck.records import InputError, NotThereError, RefusedError
from voicecheck.store import history, papers, recordings, walkarounds
from voicecheck.store.database import Database
from voicecheck.store.media import MediaStore

KEY = "f" * 64


@pytest.fixture(scope="module")
def a_store() -> Iterator[tuple[Database, MediaStore]]:
    """One for all examples of a property."""
    with tempfile.TemporaryDirectory() as name, ready_database("sqlite", Path(name)) as database:
        yield database, MediaStore("memory://parts")


@st.composite
def uploads(draw: st.DrawFn) -> tuple[list[bytes], list[int], int]:
    """Parts, the order in which they arrive (each at least once), after how many the end is told."""
    pieces = draw(st.lists(st.binary(min_size=1, max_size=40), min_size=1, max_size=8))
    numbers = list(range(len(pieces)))
    again = draw(st.lists(st.sampled_from(numbers), max_size=6))
    order = draw(st.permutations(numbers + again))
    return pieces, list(order), draw(st.integers(0, len(order)))


@settings(max_examples=40, deadline=None)
@given(upload=uploads())
def test_parts_in_any_order_and_twice_make_the_whole(
    a_store: tuple[Database, MediaStore], upload: tuple[list[bytes], list[int], int]
) -> None:
    pieces, order, told_after = upload
    database, media = a_store
    with database.session() as session:
        about = a_walkaround(session)
        take = a_take(session, walkaround=about.id)
    arrived: set[int] = set()
    for step, number in enumerate([*order, None]):
        if step == told_after:
            with database.session() as session:
                finished = recordings.finish_take(session, take=take.id, parts=len(pieces), now=NOW)
                assert (finished.complete is not None) == (len(arrived) == len(pieces))
        if number is None:
            break
        recordings.receive_part(database, media, take=take.id, number=number, data=pieces[number], now=NOW)
        arrived.add(number)
        with database.reading() as session:
            end = len(pieces) if step >= told_after else max(arrived) + 1
            assert recordings.missing(session, take=take.id) == sorted(set(range(end)) - arrived)
            whole = step >= told_after and len(arrived) == len(pieces)
            assert (recordings.take(session, id=take.id).complete is not None) == whole
    key = recordings.assemble(database, media, take=take.id)
    assert media.read(key) == b"".join(pieces)
    assert recordings.assemble(database, media, take=take.id) == key
    with database.reading() as session:
        assert recordings.take(session, id=take.id).size == sum(map(len, pieces))


@settings(max_examples=30, deadline=None)
@given(
    pieces=st.lists(st.binary(min_size=1, max_size=20), min_size=1, max_size=6),
    lost=st.sets(st.integers(0, 5)),
)
def test_what_arrived_of_a_lost_phone_is_kept(
    a_store: tuple[Database, MediaStore], pieces: list[bytes], lost: set[int]
) -> None:
    database, media = a_store
    with database.session() as session:
        about = a_walkaround(session)
        take = a_take(session, walkaround=about.id)
    for number, piece in enumerate(pieces):
        if number not in lost:
            recordings.receive_part(database, media, take=take.id, number=number, data=piece, now=NOW)
    with database.session() as session:
        recordings.cut_short(session, take=take.id, now=NOW)
    there = [piece for number, piece in enumerate(pieces) if number not in lost]
    with database.reading() as session:
        left = recordings.takes(session, walkaround=about.id)
    if not there:
        assert left == []
    else:
        key = recordings.assemble(database, media, take=take.id)
        assert media.read(key) == b"".join(there)


def test_beginning_twice_is_one_take(database: Database) -> None:
    with database.session() as session:
        about, other = a_walkaround(session), a_walkaround(session)
        first = a_take(session, walkaround=about.id, key="phone-1")
        assert a_take(session, walkaround=about.id, key="phone-1").id == first.id
        assert a_take(session, walkaround=about.id, key="phone-2").number == 2
        with pytest.raises(RefusedError, match="belongs to another walk-around"):
            a_take(session, walkaround=other.id, key="phone-1")
        with pytest.raises(InputError, match="The key of the recording is empty"):
            recordings.begin_take(session, walkaround=about.id, client_key=" ", now=NOW)


def test_a_part_with_other_content_is_refused(database: Database, media: MediaStore) -> None:
    with database.session() as session:
        take = a_take(session, walkaround=a_walkaround(session).id)
    recordings.receive_part(database, media, take=take.id, number=0, data=b"first", now=NOW)
    again = recordings.receive_part(
        database, media, take=take.id, number=0, data=b"first", now=later(hours=1)
    )
    assert again.arrived == NOW
    with pytest.raises(
        RefusedError, match=r"Part 0 of this recording has arrived already, with other content\."
    ):
        recordings.receive_part(database, media, take=take.id, number=0, data=b"other", now=NOW)
    with database.reading() as session:
        [part] = recordings.parts(session, take=take.id)
    assert media.read(part.media) == b"first"


def test_parts_that_cannot_be(database: Database, media: MediaStore) -> None:
    with database.session() as session:
        take = a_take(session, walkaround=a_walkaround(session).id)
    for number, data in ((-1, b"a"), (recordings.MOST_PARTS, b"a"), (0, b"")):
        with pytest.raises(InputError):
            recordings.receive_part(database, media, take=take.id, number=number, data=data, now=NOW)
    with pytest.raises(NotThereError, match="There is no such recording"):
        recordings.receive_part(database, media, take="0" * 32, number=0, data=b"a", now=NOW)
    with pytest.raises(InputError, match="The recording is larger than"):
        recordings.receive_part(
            database, media, take=take.id, number=0, data=bytes(100), now=NOW, most_bytes=99
        )
    recordings.receive_part(database, media, take=take.id, number=2, data=b"c", now=NOW)
    with database.session() as session:
        with pytest.raises(RefusedError, match="more than 2 parts"):
            recordings.finish_take(session, take=take.id, parts=2, now=NOW)
        with pytest.raises(InputError):
            recordings.finish_take(session, take=take.id, parts=0, now=NOW)
        recordings.finish_take(session, take=take.id, parts=3, now=NOW)
        with pytest.raises(RefusedError, match="was finished with 3 parts, not 4"):
            recordings.finish_take(session, take=take.id, parts=4, now=NOW)
        with pytest.raises(RefusedError, match="a part 3 does not belong to it"):
            recordings.add_part(session, take=take.id, number=3, media=KEY, size=1, now=NOW)
    with pytest.raises(RefusedError, match="Not every part of this recording has arrived"):
        recordings.assemble(database, media, take=take.id)


def test_handing_in_waits_for_every_part(database: Database, media: MediaStore) -> None:
    with database.session() as session:
        about = a_walkaround(session)
        with pytest.raises(RefusedError, match="There is no recording yet"):
            recordings.hand_in(session, walkaround=about.id, now=NOW)
        takes = [a_take(session, walkaround=about.id) for _ in range(2)]
        for take in takes:
            recordings.finish_take(session, take=take.id, parts=1, now=NOW)
        assert not recordings.hand_in(session, walkaround=about.id, now=NOW)
    for take in takes:
        recordings.receive_part(database, media, take=take.id, number=0, data=b"x", now=NOW)
    with database.session() as session:
        assert recordings.hand_in(session, walkaround=about.id, now=NOW)
        assert recordings.hand_in(session, walkaround=about.id, now=NOW)
        row = walkarounds.get(session, id=about.id)
        assert (row.state, row.run, row.received) == ("waiting", 1, NOW)


def test_a_further_recording_begins_a_new_run(database: Database) -> None:
    with database.session() as session:
        about = a_walkaround(session)
        for key in ("one", "two"):
            take = a_take(session, walkaround=about.id, key=key)
            assert walkarounds.get(session, id=about.id).state == "recording"
            recordings.add_part(session, take=take.id, number=0, media=KEY, size=1, now=NOW)
            recordings.finish_take(session, take=take.id, parts=1, now=NOW)
            recordings.hand_in(session, walkaround=about.id, now=NOW)
            walkarounds.set_state(session, id=about.id, to="working", now=NOW)
            walkarounds.set_state(session, id=about.id, to="review", now=NOW)
        assert walkarounds.get(session, id=about.id).run == 2
        walkarounds.set_state(session, id=about.id, to="closed", now=NOW)
        with pytest.raises(RefusedError, match="This walk-around is closed"):
            a_take(session, walkaround=about.id)


def test_photos(database: Database) -> None:
    with database.session() as session:
        about, other = a_walkaround(session), a_walkaround(session)
        take = a_take(session, walkaround=about.id)

        def add(**given: object) -> str:
            values = {
                "walkaround": about.id,
                "client_key": "p1",
                "media": KEY,
                "kind": "image/jpeg",
                "now": NOW,
            }
            return recordings.add_photo(session, **{**values, **given}).id  # type: ignore[arg-type]

        first = add(at=2.5, take=take.id)
        assert add(at=2.5, take=take.id) == first
        with pytest.raises(RefusedError, match="with other content"):
            add(media="e" * 64)
        with pytest.raises(RefusedError, match="with other content"):
            add(walkaround=other.id)
        with pytest.raises(RefusedError, match="belongs to another walk-around"):
            add(walkaround=other.id, client_key="p2", take=take.id)
        assert [photo.at for photo in recordings.photos(session, walkaround=about.id)] == [2.5]
        assert recordings.walkarounds_of_media(session, key=KEY) == {about.id}
        second = add(walkaround=other.id, client_key="p3")
        assert recordings.walkarounds_of_media(session, key=KEY) == {about.id, other.id}
        assert recordings.remove_photo(session, id=second, now=NOW) == ()  # the other photo still has it
        assert recordings.remove_photo(session, id=first, now=NOW) == (KEY,)


def test_the_retention_rule_takes_the_sound_and_leaves_the_words(
    database: Database, media: MediaStore
) -> None:
    with database.session() as session:
        about = a_walkaround(session)
        takes = [a_take(session, walkaround=about.id) for _ in range(2)]
    for take, pieces in zip(takes, ([b"ab", b"c"], [b"ab", b"d"]), strict=True):
        for number, piece in enumerate(pieces):
            recordings.receive_part(database, media, take=take.id, number=number, data=piece, now=NOW)
        with database.session() as session:
            recordings.finish_take(session, take=take.id, parts=2, now=NOW)
        recordings.assemble(database, media, take=take.id)
        with database.session() as session:
            recordings.set_transcript(session, take=take.id, transcript={"text": "x"}, seconds=1.0)
    with database.session() as session:
        gone = recordings.forget_media(session, take=takes[0].id, now=NOW)
    assert len(gone) == 2  # the whole and its own part; the part with equal content is still the other take's
    for key in gone:
        media.delete(key)
    with database.session() as session:
        assert recordings.forget_media(session, take=takes[0].id, now=NOW) == ()
        first, second = recordings.takes(session, walkaround=about.id)
        assert (first.media, first.deleted, first.transcript) == (None, NOW, {"text": "x"})
        assert second.media is not None
        assert media.read(second.media) == b"abd"
        assert [row.what for row in history.rows(session)].count("recording deleted") == 1
    assert set(map(media.read, media.keys())) == {b"ab", b"d", b"abd"}


def test_the_prices_of_an_issued_estimate_are_never_free(database: Database) -> None:
    """A copy takes along, and the retention rule leaves alone, one and the same set of files."""
    with database.session() as session:
        ids = fill(session)
        prices = "e" * 64
        papers.issue(
            session, walkaround=ids["walkaround"], seq=1, person=ids["person"], document={}, now=NOW,
            draft={"shop": prices}, total=1250, currency="GBP",
        )  # fmt: skip
        photo = recordings.add_photo(
            session, walkaround=ids["walkaround"], client_key="p", media=prices, kind="image/jpeg", now=NOW
        )
        named = {"a" * 64, "b" * 64, prices}
        assert recordings.media_named(session) == named
        asked = [*sorted(named), *(f"{n:064}" for n in range(recordings.KEYS_AT_ONCE))]
        assert recordings.media_named(session, keys=asked) == named
        assert recordings.media_named(session, keys=()) == set()
        assert recordings.unused(session, keys=["f" * 64, prices, "f" * 64]) == ("f" * 64,)
        assert recordings.remove_photo(session, id=photo.id, now=NOW) == ()
        assert recordings.remove_photo(session, id=ids["photo"], now=NOW) == ("b" * 64,)
        assert recordings.forget_media(session, take=ids["take"], now=NOW) == ("a" * 64,)
        assert recordings.media_named(session) == {prices}


def test_a_transcript_is_kept_once(database: Database) -> None:
    with database.session() as session:
        about = a_walkaround(session)
        take = a_take(session, walkaround=about.id)
        for words in ([], ["first"], ["second"], []):
            recordings.set_transcript(session, take=take.id, transcript={"words": words}, seconds=1.0)
        assert recordings.take(session, id=take.id).transcript == {"words": ["first"]}
        recordings.forget_transcript(session, walkaround=about.id)
        assert recordings.take(session, id=take.id).transcript is None


def test_names_from_phones_are_kept_in_bounds(database: Database) -> None:
    with database.session() as session:
        about = a_walkaround(session)
        take = recordings.begin_take(
            session, walkaround=about.id, client_key=uuid4().hex, now=NOW, name="\0a" * 400 + ".webm"
        )
        assert take.name.endswith("aaa.webm")
        assert len(take.name) == 200
