"""Signs of life of the workers, and who takes over from one that gives none."""

from __future__ import annotations

from datetime import datetime, timedelta

from sqlalchemy import or_, select, update
from sqlalchemy.orm import Session

from voicecheck.store import history
from voicecheck.store.tables import Worker

SILENT_S = 30.0


def begin(session: Session, *, executor: str, host: str, now: datetime) -> Worker:
    """A worker of that name has started (again); what was taken over from it before is done with."""
    row = session.get(Worker, executor)
    if row is None:
        row = Worker(executor=executor, host=host, started=now, seen=now)
        session.add(row)
    row.host, row.started, row.seen, row.stopped, row.taken_by = host, now, now, None, None
    session.flush()
    history.record(session, what="worker began", now=now, details={"executor": executor, "host": host})
    return row


def beat(session: Session, *, executor: str, now: datetime) -> bool:
    """A sign of life. ``False`` where somebody has taken its work over: it was silent for too long."""
    session.execute(update(Worker).where(Worker.executor == executor).values(seen=now))
    return session.scalar(select(Worker.taken_by).where(Worker.executor == executor)) is None


def stop(session: Session, *, executor: str, now: datetime) -> None:
    """It ends as it should; work that it had begun may be taken over at once."""
    session.execute(update(Worker).where(Worker.executor == executor).values(seen=now, stopped=now))
    history.record(session, what="worker stopped", now=now, details={"executor": executor})


def all_of_them(session: Session) -> list[Worker]:
    """Every worker there ever was, the last seen first."""
    return list(session.scalars(select(Worker).order_by(Worker.seen.desc())))


def alive(session: Session, *, now: datetime, silent_s: float = SILENT_S) -> list[Worker]:
    """Those that gave a sign within ``silent_s`` seconds and were not stopped."""
    wanted = select(Worker).where(Worker.seen >= now - timedelta(seconds=silent_s), Worker.stopped.is_(None))
    return list(session.scalars(wanted.order_by(Worker.executor)))


def claim_silent(session: Session, *, by: str, now: datetime, silent_s: float = SILENT_S) -> list[str]:
    """The names of workers whose work ``by`` takes over now, each claimed once.

    Silent is who was stopped or gave no sign for ``silent_s`` seconds. With a worker go those that it had
    claimed itself, for it may have died before it did anything about it. ``by`` itself is never one of them.
    """
    limit = now - timedelta(seconds=silent_s)
    silent = session.scalars(
        select(Worker).where(
            Worker.executor != by,
            Worker.taken_by.is_(None),
            or_(Worker.stopped.is_not(None), Worker.seen < limit),
        )
    ).all()
    claimed: list[str] = []
    for row in silent:
        done = session.execute(
            update(Worker)
            .where(Worker.executor == row.executor, Worker.seen == row.seen, Worker.taken_by.is_(None))
            .values(taken_by=by)
        )
        if getattr(done, "rowcount", 0) != 1:
            continue
        claimed.append(row.executor)
        session.execute(update(Worker).where(Worker.taken_by == row.executor).values(taken_by=by))
        history.record(
            session, what="worker taken over", now=now, details={"executor": row.executor, "by": by}
        )
    return sorted({*claimed, *_claimed_by(session, by)}) if claimed else []


def _claimed_by(session: Session, by: str) -> list[str]:
    return list(session.scalars(select(Worker.executor).where(Worker.taken_by == by)))


def claimed_by(session: Session, *, by: str) -> list[str]:
    """The names of the workers whose work ``by`` has taken over."""
    return sorted(_claimed_by(session, by))
