"""What the owner sets and decides: settings, suggestions for the lexicon, its versions, what media stay."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import and_, func, or_, select
from sqlalchemy.orm import Session

from voicecheck.records import RefusedError
from voicecheck.records.canonical import fingerprint
from voicecheck.store import history
from voicecheck.store.tables import (
    History,
    Issued,
    LexiconVersion,
    Link,
    Photo,
    Setting,
    SuggestionRow,
    Take,
    Walkaround,
)
from voicecheck.store.values import text_of, there

# -- settings ------------------------------------------------------------------------------------------------


def get_setting(session: Session, *, key: str) -> dict[str, Any] | None:
    """The value under ``key`` (a JSON object); ``None`` where it was never set."""
    row = session.get(Setting, key)
    return None if row is None else row.value


def settings(session: Session) -> dict[str, dict[str, Any]]:
    """All that were set, by key."""
    return {row.key: row.value for row in session.scalars(select(Setting).order_by(Setting.key))}


def set_setting(
    session: Session, *, key: str, value: Mapping[str, Any], now: datetime, person: str | None
) -> Setting:
    """Sets ``key``; history keeps the value before and after, so nothing secret belongs in a setting."""
    row = session.get(Setting, key)
    before = None if row is None else row.value
    if row is not None and before == dict(value):
        return row
    if row is None:
        row = Setting(key=text_of(key, most=64, what="key", needed=True), value={}, changed=now)
        session.add(row)
    row.value, row.changed, row.person = dict(value), now, person
    session.flush()
    history.record(
        session,
        what="setting changed",
        now=now,
        person=person,
        details={"key": key, "before": before, "after": dict(value)},
    )
    return row


def set_note(session: Session, *, key: str, value: Mapping[str, Any], now: datetime) -> None:
    """What the program remembers for itself (how far it has read …): no decision, so not in the history."""
    row = session.get(Setting, key)
    if row is None:
        row = Setting(key=text_of(key, most=64, what="key", needed=True), value={}, changed=now)
        session.add(row)
    row.value, row.changed = dict(value), now
    session.flush()


# -- suggestions ---------------------------------------------------------------------------------------------


def suggest(
    session: Session,
    *,
    key: str,
    kind: str,
    what: Mapping[str, Any],
    sentences: Sequence[Mapping[str, Any]],
    now: datetime,
) -> SuggestionRow:
    """Something the lexicon could learn. The same ``key`` again adds the sentences that are new.

    One that was adopted or declined stays decided and only gathers sentences.
    """
    row = session.scalar(select(SuggestionRow).where(SuggestionRow.key == key))
    if row is None:
        row = SuggestionRow(key=key, kind=kind, what=dict(what), sentences=[], state="open", created=now)
        session.add(row)
        session.flush()
        history.record(session, what="suggested", now=now, details={"suggestion": row.id, "key": key})
    fresh = [dict(sentence) for sentence in sentences if dict(sentence) not in row.sentences]
    if fresh:
        row.sentences = [*row.sentences, *fresh]
        session.flush()
    return row


def suggestion(session: Session, *, id: str) -> SuggestionRow:
    """The suggestion with that id; ``NotThereError`` where there is none."""
    return there(session, SuggestionRow, id, what="suggestion")


def suggestions(session: Session, *, state: str | None = "open", limit: int = 500) -> list[SuggestionRow]:
    """Those in ``state`` (``None``: all), the oldest first."""
    wanted = select(SuggestionRow).order_by(SuggestionRow.created, SuggestionRow.id).limit(limit)
    if state is not None:
        wanted = wanted.where(SuggestionRow.state == state)
    return list(session.scalars(wanted))


def withdraw_sentences(session: Session, *, of: Collection[str], still: Collection[tuple[str, str]]) -> None:
    """Takes sentences of the walk-arounds ``of`` out of open suggestions, but for those in ``still``.

    ``still`` holds keys of suggestions with the ``fingerprint`` of a sentence. A suggestion that nothing
    speaks for any more goes.
    """
    for row in suggestions(session, limit=5000):
        kept = [
            sentence
            for sentence in row.sentences
            if sentence.get("walkaround") not in of or (row.key, fingerprint(sentence)) in still
        ]
        if len(kept) == len(row.sentences):
            continue
        if kept:
            row.sentences = kept
        else:
            session.delete(row)
    session.flush()


def decide_suggestion(
    session: Session,
    *,
    id: str,
    state: str,
    now: datetime,
    person: str | None,
    details: Mapping[str, Any] | None = None,
) -> SuggestionRow:
    """``adopted`` or ``declined``; ``RefusedError`` where that was decided before. ``open`` undoes it.

    ``details`` (why, or what became of it) are kept in ``what["decided"]`` and in the history.
    """
    if state not in ("adopted", "declined", "open"):
        raise ValueError(f"no such state: {state}")
    row = suggestion(session, id=id)
    if row.state == state:
        return row
    if row.state != "open" and state != "open":
        raise RefusedError(f"This suggestion was {row.state} already.", hint="Load the page again.")
    row.state = state
    row.what = {**row.what, "decided": dict(details or {})}
    row.decided, row.person = (None, None) if state == "open" else (now, person)
    session.flush()
    history.record(
        session,
        what=f"suggestion {state}",
        now=now,
        person=person,
        details={"suggestion": id, "key": row.key, **(details or {})},
    )
    return row


def changed_walkarounds(session: Session, *, after: int) -> tuple[int, list[str]]:
    """The walk-arounds drafted or decided about since history row ``after``, and the newest row's number."""
    newest = session.scalar(select(func.max(History.number))) or 0
    wanted = (
        select(History.walkaround)
        .where(History.number > after, History.what.in_(("drafted", "decided")))
        .where(History.walkaround.is_not(None))
        .distinct()
    )
    return newest, sorted(id_ for id_ in session.scalars(wanted) if id_ is not None)


# -- lexicon versions ----------------------------------------------------------------------------------------


def add_lexicon_version(
    session: Session, *, files: Mapping[str, str], now: datetime, person: str | None, note: str = ""
) -> LexiconVersion:
    """A new version of the shop's own term files (name -> text, the whole set); numbers count from 1.

    To go back, add the files of an earlier version again: what was in force when stays readable.
    """
    number = latest_lexicon_number(session) + 1
    row = LexiconVersion(
        number=number, at=now, person=person, note=text_of(note, most=2000, what="note"), files=dict(files)
    )
    session.add(row)
    session.flush()
    history.record(
        session,
        what="lexicon version",
        now=now,
        person=person,
        details={"number": number, "files": sorted(files), "note": row.note},
    )
    return row


def latest_lexicon_number(session: Session) -> int:
    """The number of the version in force; 0 where there is none."""
    return session.scalar(select(func.max(LexiconVersion.number))) or 0


def lexicon_version(session: Session, *, number: int | None = None) -> LexiconVersion | None:
    """That version, or the newest (``None``: there is none yet). ``NotThereError`` for an unknown number."""
    if number is not None:
        return there(session, LexiconVersion, number, what="version of the lexicon")
    wanted = select(LexiconVersion).order_by(LexiconVersion.number.desc()).limit(1)
    return session.scalar(wanted)


def lexicon_versions(session: Session) -> list[LexiconVersion]:
    """All versions, the newest first."""
    return list(session.scalars(select(LexiconVersion).order_by(LexiconVersion.number.desc())))


# -- how long recordings and photos stay ---------------------------------------------------------------------


@dataclass(frozen=True)
class Aged:
    """A recording or photo that is older than the rule; ``held`` says why it stays nevertheless, or ""."""

    id: str
    walkaround: str
    size: int
    held: str = ""


BUSY = "it has not been drafted yet"
SHOWN = "a customer can still open an estimate that it belongs to"


def aged_takes(session: Session, *, before: datetime, now: datetime, shown_until: datetime) -> list[Aged]:
    """Recordings that ended before ``before`` and still have their sound, the oldest first.

    Held: of a walk-around that waits for its draft; and where a clip of it was chosen for an issued estimate
    which a customer can still open, or which was issued after ``shown_until``.
    """
    ended = func.coalesce(Take.complete, Take.created)
    shown = _shown(session, now=now, shown_until=shown_until, part="clips")
    rows = session.execute(
        select(Take, Walkaround.state)
        .join(Walkaround, Walkaround.id == Take.walkaround)
        .where(ended < before, Take.deleted.is_(None))
        .order_by(ended, Take.id)
    )
    return [
        Aged(take.id, take.walkaround, take.size or 0, _held(state, take.id in shown)) for take, state in rows
    ]


def aged_photos(session: Session, *, before: datetime, now: datetime, shown_until: datetime) -> list[Aged]:
    """Photos taken before ``before``; held as recordings are."""
    shown = _shown(session, now=now, shown_until=shown_until, part="photos")
    rows = session.execute(
        select(Photo, Walkaround.state)
        .join(Walkaround, Walkaround.id == Photo.walkaround)
        .where(Photo.taken < before)
        .order_by(Photo.taken, Photo.id)
    )
    return [Aged(photo.id, photo.walkaround, 0, _held(state, photo.id in shown)) for photo, state in rows]


def _held(state: str, shown: bool) -> str:
    if state in ("waiting", "working"):
        return BUSY
    return SHOWN if shown else ""


def _shown(session: Session, *, now: datetime, shown_until: datetime, part: str) -> set[str]:
    """Ids of the takes (``clips``) or photos of estimates that a customer can or may still look at."""
    link = select(Link.issued).where(Link.expires > now, Link.revoked.is_(None))
    rows = session.scalars(select(Issued.draft).where(or_(Issued.id.in_(link), Issued.at > shown_until)))
    found: set[str] = set()
    for draft in rows:
        chosen = draft.get(part, ())
        found.update(clip["take"] for clip in chosen) if part == "clips" else found.update(chosen)
    return found


# -- what is looked up for the owner -------------------------------------------------------------------------


def last_of(session: Session, *, what: str) -> History | None:
    """The newest row of the history that tells ``what``."""
    wanted = select(History).where(History.what == what).order_by(History.number.desc()).limit(1)
    return session.scalar(wanted)


def in_trouble(session: Session, *, limit: int = 50) -> list[Walkaround]:
    """The walk-arounds that could not be drafted, the newest first."""
    wanted = select(Walkaround).where(and_(Walkaround.state == "failed", Walkaround.trouble != ""))
    return list(session.scalars(wanted.order_by(Walkaround.created.desc()).limit(limit)))
