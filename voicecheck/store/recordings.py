"""Takes (recordings) in numbered parts, and photos. Whatever arrives twice counts once.

The bytes go to the media store first, durably; then a row says that they are there. So a part that was
answered for is never lost, and bytes without a row are only rubbish.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from voicecheck.records import InputError, NotThereError, RefusedError
from voicecheck.store import history, walkarounds
from voicecheck.store.database import Database
from voicecheck.store.media import MediaStore
from voicecheck.store.tables import Issued, Photo, Take, TakePart
from voicecheck.store.values import text_of, there

MOST_PARTS = 20_000  # of a take: 27 hours in parts of five seconds
KEYS_AT_ONCE = 500  # in one question to the database
MOST_BYTES = 2 * 1024**3  # of a take, where no limit is given: three hours of video from a phone

# -- takes and parts -----------------------------------------------------------------------------------------


def begin_take(
    session: Session,
    *,
    walkaround: str,
    client_key: str,
    now: datetime,
    kind: str = "",
    name: str = "",
    person: str | None = None,
) -> Take:
    """A new take of a walk-around, which becomes ``recording``; with a known ``client_key``, that take.

    ``RefusedError`` where the key belongs to another walk-around or the walk-around is closed.
    """
    client_key = text_of(client_key, most=64, what="key of the recording", needed=True)
    known = session.scalar(select(Take).where(Take.client_key == client_key))
    if known is not None:
        if known.walkaround != walkaround:
            raise RefusedError("This recording belongs to another walk-around.")
        return known
    about = walkarounds.get(session, id=walkaround)
    if about.state == "closed":
        raise RefusedError("This walk-around is closed.", hint="Begin a new one, or open it again.")
    walkarounds.set_state(session, id=walkaround, to="recording", now=now, person=person)
    last = session.scalar(select(func.max(Take.number)).where(Take.walkaround == walkaround)) or 0
    take = Take(
        walkaround=walkaround,
        number=last + 1,
        client_key=client_key,
        kind=text_of(kind, most=64, what="kind"),
        name=text_of(name, most=10_000, what="name")[-200:],
        created=now,
    )
    session.add(take)
    session.flush()
    history.record(
        session,
        what="take begun",
        now=now,
        person=person,
        walkaround=walkaround,
        details={"take": take.id, "number": take.number},
    )
    return take


def take(session: Session, *, id: str) -> Take:
    """The take with that id; ``NotThereError`` where there is none."""
    return there(session, Take, id, what="recording")


def take_by_key(session: Session, *, client_key: str) -> Take | None:
    """The take that the phone calls ``client_key``."""
    return session.scalar(select(Take).where(Take.client_key == client_key))


def takes(session: Session, *, walkaround: str) -> list[Take]:
    """All takes of a walk-around in order."""
    return list(session.scalars(select(Take).where(Take.walkaround == walkaround).order_by(Take.number)))


def parts(session: Session, *, take: str) -> list[TakePart]:
    """The parts that have arrived, by number."""
    return list(session.scalars(select(TakePart).where(TakePart.take == take).order_by(TakePart.number)))


def add_part(
    session: Session,
    *,
    take: str,
    number: int,
    media: str,
    size: int,
    now: datetime,
    most_bytes: int = MOST_BYTES,
) -> TakePart:
    """Part ``number`` (from 0) has arrived as ``media``. The same again is fine; not so other content.

    Completes the take where it was the last one missing after ``finish_take``. Raises ``RefusedError`` for
    other content under a number and for a number past the end, ``InputError`` where it is too large.
    """
    row = there(session, Take, take, what="recording")
    if not 0 <= number < MOST_PARTS:
        raise InputError(f"Part {number} of a recording: parts are numbered from 0 to {MOST_PARTS - 1}.")
    if size <= 0:
        raise InputError(f"Part {number} of the recording is empty.", hint="Send it again.")
    known = session.get(TakePart, (take, number))
    if known is not None:
        if known.media != media:
            raise RefusedError(
                f"Part {number} of this recording has arrived already, with other content.",
                hint="The first is kept. Send the recording as a new one if this is another.",
            )
        return known
    if row.complete is not None:
        raise RefusedError(f"This recording is closed; part {number} comes too late.")
    if row.parts_expected is not None and number >= row.parts_expected:
        raise RefusedError(
            f"This recording has {row.parts_expected} parts; a part {number} does not belong to it."
        )
    there_now = session.scalar(select(func.sum(TakePart.size)).where(TakePart.take == take)) or 0
    if there_now + size > most_bytes:
        raise InputError(
            f"The recording is larger than {most_bytes / 1024**2:,.0f} MB.",
            hint="Make one recording for each vehicle, or ask the owner to raise the limit.",
        )
    part = TakePart(take=take, number=number, media=media, size=size, arrived=now)
    session.add(part)
    session.flush()
    _complete_if_all_there(session, row, now=now)
    return part


def receive_part(
    database: Database,
    media: MediaStore,
    *,
    take: str,
    number: int,
    data: bytes,
    now: datetime,
    most_bytes: int = MOST_BYTES,
) -> TakePart:
    """``add_part`` with the bytes: on the disk for good before the row says so."""
    with database.reading() as session:
        there(session, Take, take, what="recording")  # before a byte is written
    if not data:
        raise InputError(f"Part {number} of the recording is empty.", hint="Send it again.")
    key = media.put(data)
    with database.session() as session:
        return add_part(
            session, take=take, number=number, media=key, size=len(data), now=now, most_bytes=most_bytes
        )


def missing(session: Session, *, take: str, most: int = 1000) -> list[int]:
    """Numbers of the parts not arrived: up to the last expected, or the last there if none is known."""
    row = there(session, Take, take, what="recording")
    arrived = set(session.scalars(select(TakePart.number).where(TakePart.take == take)))
    end = row.parts_expected if row.parts_expected is not None else max(arrived, default=-1) + 1
    return [number for number in range(end) if number not in arrived][:most]


def finish_take(
    session: Session,
    *,
    take: str,
    parts: int,
    now: datetime,
    seconds: float | None = None,
    person: str | None = None,
) -> Take:
    """The phone has stopped: the take has ``parts`` parts and, by its clock, ``seconds``.

    ``complete`` is set when all are there, now or with the last ``add_part``. The same again is fine; another
    number of parts, or fewer than have arrived, is ``RefusedError``.
    """
    row = there(session, Take, take, what="recording")
    if not 1 <= parts <= MOST_PARTS:
        raise InputError(f"A recording of {parts} parts: it has 1 to {MOST_PARTS}.")
    if seconds is not None and not 0 <= seconds < 1e6:
        raise InputError(f"A recording of {seconds} seconds is not possible.")
    if row.parts_expected is not None:
        if row.parts_expected != parts:
            raise RefusedError(f"This recording was finished with {row.parts_expected} parts, not {parts}.")
        return row
    last = session.scalar(select(func.max(TakePart.number)).where(TakePart.take == take))
    if last is not None and last >= parts:
        raise RefusedError(f"Part {last} has arrived; the recording has more than {parts} parts.")
    row.parts_expected, row.seconds_claimed = parts, seconds
    session.flush()
    history.record(
        session,
        what="take finished",
        now=now,
        person=person,
        walkaround=row.walkaround,
        details={"take": take, "parts": parts, "seconds": seconds},
    )
    _complete_if_all_there(session, row, now=now)
    return row


def _complete_if_all_there(session: Session, row: Take, *, now: datetime) -> None:
    if row.parts_expected is None or row.complete is not None:
        return
    arrived = session.scalar(select(func.count()).select_from(TakePart).where(TakePart.take == row.id))
    if arrived == row.parts_expected:  # numbers are unique and below parts_expected
        row.complete = now
        session.flush()
        history.record(
            session, what="take complete", now=now, walkaround=row.walkaround, details={"take": row.id}
        )


def cut_short(session: Session, *, take: str, now: datetime, person: str | None = None) -> None:
    """Gives up what has not arrived of a take (the phone is gone): what did arrive becomes the whole.

    Most recorders' files can be read over a gap; that the sound is shorter than the phone counted is asked
    about in the draft. With no part at all the take goes. ``RefusedError`` where it is complete.
    """
    row = there(session, Take, take, what="recording")
    if row.complete is not None:
        raise RefusedError("This recording is complete.")
    arrived = [part.number for part in parts(session, take=take)]
    details = {"take": take, "arrived": arrived, "expected": row.parts_expected}
    history.record(
        session, what="take cut short", now=now, person=person, walkaround=row.walkaround, details=details
    )
    if arrived:
        row.complete = now
    else:
        session.delete(row)
    session.flush()


def hand_in(session: Session, *, walkaround: str, now: datetime, person: str | None = None) -> bool:
    """Nothing more will be said: the walk-around becomes ``waiting`` if every take is complete.

    ``False``, and nothing changed, where a part is still on its way; call it again when that has arrived.
    Handed in again while it waits, is worked on or is drafted, it stays as it is (``True``). ``RefusedError``
    where there is no take.
    """
    row = walkarounds.get(session, id=walkaround)
    if row.state not in ("recording", "failed"):
        return True
    have = takes(session, walkaround=walkaround)
    if not have:
        raise RefusedError("There is no recording yet.", hint="Record, or choose a file.")
    if any(take.complete is None for take in have):
        return False
    walkarounds.set_state(session, id=walkaround, to="waiting", now=now, person=person)
    return True


# -- what becomes of a take ----------------------------------------------------------------------------------


def assemble(database: Database, media: MediaStore, *, take: str) -> str:
    """Puts the parts of a complete take together as one media file and notes it; returns its key.

    Done twice it is the same file. ``RefusedError`` where parts are missing, ``NotThereError`` where their
    bytes are gone.
    """
    with database.reading() as session:
        row = there(session, Take, take, what="recording")
        if row.media is not None:
            return row.media
        if row.deleted is not None:
            raise NotThereError("This recording was deleted.")
        if row.complete is None:
            raise RefusedError("Not every part of this recording has arrived.")
        pieces = [part.media for part in parts(session, take=take)]
    key, size = media.join(pieces)
    with database.session() as session:
        row = there(session, Take, take, what="recording")
        if row.media is None:
            row.media, row.size = key, size
        return row.media


def set_transcript(
    session: Session, *, take: str, transcript: Mapping[str, Any], seconds: float | None
) -> Take:
    """What was heard in a take, and its seconds.

    The first with words stays: a step done twice counts once.
    """
    row = there(session, Take, take, what="recording")
    if row.transcript is None or not row.transcript.get("words"):
        row.transcript, row.seconds = dict(transcript), seconds
        session.flush()
    return row


def forget_transcript(session: Session, *, walkaround: str) -> None:
    """Have all takes heard again with the next run (another model, new terms); media must still be there."""
    for row in takes(session, walkaround=walkaround):
        if row.deleted is None:
            row.transcript, row.seconds = None, None
    session.flush()


def forget_media(session: Session, *, take: str, now: datetime, person: str | None = None) -> tuple[str, ...]:
    """The retention rule: the sound of a take goes, the words stay. Returns keys that nothing names any more.

    The caller deletes those from the media store after the commit.
    """
    row = there(session, Take, take, what="recording")
    have = parts(session, take=take)
    keys = [key for key in (row.media, *(part.media for part in have)) if key is not None]
    if row.deleted is None:
        row.deleted = now
        history.record(
            session, what="recording deleted", now=now, person=person, walkaround=row.walkaround,
            details={"take": take},
        )  # fmt: skip
    row.media = None
    for part in have:
        session.delete(part)
    session.flush()
    return unused(session, keys=keys)


# -- photos --------------------------------------------------------------------------------------------------


def add_photo(
    session: Session,
    *,
    walkaround: str,
    client_key: str,
    media: str,
    kind: str,
    now: datetime,
    at: float | None = None,
    take: str | None = None,
    person: str | None = None,
) -> Photo:
    """A picture, ``at`` seconds into ``take`` where known. The same key again is the same photo."""
    client_key = text_of(client_key, most=64, what="key of the photo", needed=True)
    known = session.scalar(select(Photo).where(Photo.client_key == client_key))
    if known is not None:
        if known.walkaround != walkaround or known.media != media:
            raise RefusedError("A photo with this key has arrived already, with other content.")
        return known
    walkarounds.get(session, id=walkaround)
    if take is not None and there(session, Take, take, what="recording").walkaround != walkaround:
        raise RefusedError("This recording belongs to another walk-around.")
    row = Photo(
        walkaround=walkaround,
        client_key=client_key,
        media=media,
        kind=text_of(kind, most=32, what="kind"),
        at=at,
        take=take,
        taken=now,
    )
    session.add(row)
    session.flush()
    history.record(
        session, what="photo added", now=now, person=person, walkaround=walkaround, details={"photo": row.id}
    )
    return row


def photo(session: Session, *, id: str) -> Photo:
    """The photo with that id; ``NotThereError`` where there is none."""
    return there(session, Photo, id, what="photo")


def photos(session: Session, *, walkaround: str) -> list[Photo]:
    """All photos of a walk-around in the order taken."""
    wanted = select(Photo).where(Photo.walkaround == walkaround)
    return list(session.scalars(wanted.order_by(Photo.taken, Photo.id)))


def remove_photo(session: Session, *, id: str, now: datetime, person: str | None = None) -> tuple[str, ...]:
    """Takes a photo away. Returns keys that nothing names any more, as ``forget_media``."""
    row = photo(session, id=id)
    session.delete(row)
    session.flush()
    history.record(
        session,
        what="photo removed",
        now=now,
        person=person,
        walkaround=row.walkaround,
        details={"photo": id},
    )
    return unused(session, keys=(row.media,))


# -- who may see media ---------------------------------------------------------------------------------------


def walkarounds_of_media(session: Session, *, key: str) -> set[str]:
    """The walk-arounds that a media key belongs to as a whole take or a photo; empty: nobody may have it."""
    found = set(session.scalars(select(Take.walkaround).where(Take.media == key)))
    return found | set(session.scalars(select(Photo.walkaround).where(Photo.media == key)))


def media_named(session: Session, *, keys: Collection[str] | None = None) -> set[str]:
    """The keys of all media that a row names, or those of ``keys`` that one does.

    Takes, their parts and photos name media, and an issued estimate the prices that it was issued with.
    """
    found: set[str] = set()
    asked = None if keys is None else sorted(keys)
    for column in (Take.media, TakePart.media, Photo.media, Issued.draft["shop"].as_string()):
        wanted = select(column).where(column.is_not(None))
        if asked is None:
            found.update(session.scalars(wanted))
            continue
        for first in range(0, len(asked), KEYS_AT_ONCE):
            some = asked[first : first + KEYS_AT_ONCE]
            found.update(session.scalars(wanted.where(column.in_(some))))
    return found


def unused(session: Session, *, keys: Collection[str]) -> tuple[str, ...]:
    """Those of ``keys`` that no row names: their files may go."""
    used = media_named(session, keys=keys)
    return tuple(dict.fromkeys(key for key in keys if key not in used))
