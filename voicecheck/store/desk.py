"""Drafts by the machine and decisions by people over them. Decisions are only ever added."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from voicecheck.records import NotThereError, RefusedError, StaleError
from voicecheck.store import history, walkarounds
from voicecheck.store.tables import DecisionRow, DraftRow, Walkaround
from voicecheck.store.values import there


def publish_draft(
    session: Session,
    *,
    walkaround: str,
    key: str,
    document: Mapping[str, Any],
    now: datetime,
    open_asks: int = 0,
    lexicon_version: int = 0,
) -> DraftRow:
    """Keeps a draft (JSON of ``records.Draft``) under ``key``, which names what it was made from.

    The same key again gives the draft that is there, unchanged. The state of the walk-around is the caller's.
    """
    known = session.scalar(select(DraftRow).where(DraftRow.key == key))
    if known is not None:
        if known.walkaround != walkaround:
            raise RefusedError("This draft belongs to another walk-around.")
        return known
    about = walkarounds.get(session, id=walkaround)
    last = session.scalar(select(func.max(DraftRow.number)).where(DraftRow.walkaround == walkaround)) or 0
    row = DraftRow(
        walkaround=walkaround,
        number=last + 1,
        key=key,
        made=now,
        lexicon_version=lexicon_version,
        document=dict(document),
    )
    session.add(row)
    about.drafted, about.open_asks = now, open_asks
    session.flush()
    history.record(
        session,
        what="drafted",
        now=now,
        walkaround=walkaround,
        details={"draft": row.id, "lexicon": lexicon_version},
    )
    return row


def latest_draft(session: Session, *, walkaround: str) -> DraftRow | None:
    """The newest draft; ``None`` where nothing has been drafted yet."""
    wanted = select(DraftRow).where(DraftRow.walkaround == walkaround)
    return session.scalar(wanted.order_by(DraftRow.number.desc()).limit(1))


def draft(session: Session, *, id: str) -> DraftRow:
    """The draft with that id; ``NotThereError`` where there is none."""
    return there(session, DraftRow, id, what="draft")


def draft_by_key(session: Session, *, key: str) -> DraftRow | None:
    """The draft made from what ``key`` names."""
    return session.scalar(select(DraftRow).where(DraftRow.key == key))


def drafts(session: Session, *, walkaround: str) -> list[DraftRow]:
    """All drafts, the oldest first."""
    wanted = select(DraftRow).where(DraftRow.walkaround == walkaround)
    return list(session.scalars(wanted.order_by(DraftRow.number)))


def add_decision(
    session: Session,
    *,
    walkaround: str,
    expected_seq: int,
    draft: str,
    person: str,
    kind: str,
    decision: Mapping[str, Any],
    now: datetime,
    open_asks: int | None = None,
) -> DecisionRow:
    """Adds a decision about ``draft``, numbered after ``expected_seq``, the last one the person has seen.

    Raises ``StaleError`` when somebody else was faster or a newer draft is there, ``RefusedError`` where the
    walk-around is closed.
    """
    about = session.get(Walkaround, walkaround, with_for_update=True, populate_existing=True)
    if about is None:
        raise NotThereError("There is no such walk-around.")
    if about.seq != expected_seq:
        raise StaleError(
            "Somebody else has changed this estimate in the meantime.",
            hint="Load the page again; what you were about to do is not done yet.",
        )
    newest = latest_draft(session, walkaround=walkaround)
    if newest is None or newest.id != draft:
        raise StaleError(
            "There is a newer draft of this walk-around.",
            hint="Load the page again; what you were about to do is not done yet.",
        )
    if about.state == "closed":
        raise RefusedError("This walk-around is closed.", hint="Open it again first.")
    row = DecisionRow(
        walkaround=walkaround,
        seq=expected_seq + 1,
        draft=draft,
        person=person,
        at=now,
        kind=kind,
        decision=dict(decision),
    )
    session.add(row)
    about.seq = row.seq
    if open_asks is not None:
        about.open_asks = open_asks
    session.flush()
    history.record(
        session,
        what="decided",
        now=now,
        person=person,
        walkaround=walkaround,
        details={"seq": row.seq, "kind": kind, "draft": draft},
    )
    return row


def decisions(
    session: Session, *, walkaround: str, draft: str | None = None, after: int = 0
) -> list[DecisionRow]:
    """The decisions in order, those about one draft where given, those with a ``seq`` above ``after``."""
    wanted = select(DecisionRow).where(DecisionRow.walkaround == walkaround, DecisionRow.seq > after)
    if draft is not None:
        wanted = wanted.where(DecisionRow.draft == draft)
    return list(session.scalars(wanted.order_by(DecisionRow.seq)))
