"""Issued estimates, the links to them, what customers said to them, and work that was put off."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Literal

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from voicecheck.records import InputError, NotThereError, RefusedError, StaleError
from voicecheck.records.canonical import fingerprint
from voicecheck.store import history, walkarounds
from voicecheck.store.tables import Consent, Issued, Link, PutOff, VehicleRow, Walkaround
from voicecheck.store.values import hash_of, text_of, there

CONSENT_KINDS = ("answer", "withdrawal", "question", "reply")
MEANS = ("link", "phone", "in person")

LinkState = Literal["good", "revoked", "expired"]


@dataclass(frozen=True)
class Opened:
    """What is behind a customer's link. ``newest`` is false where a later version has been issued."""

    link: Link
    issued: Issued
    state: LinkState
    newest: bool


# -- issuing -------------------------------------------------------------------------------------------------


def issue(
    session: Session,
    *,
    walkaround: str,
    seq: int,
    person: str,
    document: Mapping[str, Any],
    draft: Mapping[str, Any],
    total: int,
    currency: str,
    now: datetime,
) -> Issued:
    """Issues the next version with the decisions up to ``seq``; the walk-around becomes ``issued``.

    ``total`` in the currency's smallest unit. ``StaleError`` when a decision was made in the meantime,
    ``RefusedError`` in a state that has nothing to issue.
    """
    about = session.get(Walkaround, walkaround, with_for_update=True, populate_existing=True)
    if about is None:
        raise NotThereError("There is no such walk-around.")
    if about.seq != seq:
        raise StaleError(
            "Somebody else has changed this estimate in the meantime.",
            hint="Load the page again and look at it once more before it goes out.",
        )
    last = session.scalar(select(func.max(Issued.version)).where(Issued.walkaround == walkaround)) or 0
    row = Issued(
        walkaround=walkaround,
        version=last + 1,
        seq=seq,
        at=now,
        person=person,
        fingerprint=fingerprint(document),
        document=dict(document),
        draft=dict(draft),
        total=total,
        currency=currency,
    )
    walkarounds.set_state(session, id=walkaround, to="issued", now=now, person=person)
    session.add(row)
    session.flush()
    history.record(
        session,
        what="issued",
        now=now,
        person=person,
        walkaround=walkaround,
        details={
            "issued": row.id,
            "version": row.version,
            "seq": seq,
            "fingerprint": row.fingerprint,
            "total": total,
            "currency": currency,
        },
    )
    return row


def issued(session: Session, *, id: str) -> Issued:
    """The issued estimate with that id; ``NotThereError`` where there is none."""
    return there(session, Issued, id, what="estimate")


def versions(session: Session, *, walkaround: str) -> list[Issued]:
    """All issued versions, the oldest first."""
    wanted = select(Issued).where(Issued.walkaround == walkaround)
    return list(session.scalars(wanted.order_by(Issued.version)))


def latest_issued(session: Session, *, walkaround: str) -> Issued | None:
    """The newest version; ``None`` where nothing has been issued."""
    wanted = select(Issued).where(Issued.walkaround == walkaround)
    return session.scalar(wanted.order_by(Issued.version.desc()).limit(1))


def is_unchanged(row: Issued) -> bool:
    """Whether the document still has the fingerprint that it was issued with."""
    return fingerprint(row.document) == row.fingerprint


# -- links ---------------------------------------------------------------------------------------------------


def make_link(
    session: Session, *, issued: str, token: str, now: datetime, expires: datetime, person: str | None
) -> Link:
    """A customer's way to an issued estimate. ``token`` comes from ``values.new_token`` and is not kept."""
    about = there(session, Issued, issued, what="estimate")
    row = Link(token_hash=hash_of(token), issued=issued, created=now, expires=expires)
    session.add(row)
    session.flush()
    history.record(
        session,
        what="link made",
        now=now,
        person=person,
        walkaround=about.walkaround,
        details={"issued": issued, "expires": expires.isoformat()},
    )
    return row


def look_up(session: Session, *, token: str, now: datetime) -> Opened:
    """What is behind a link; its state says if it may be shown. ``NotThereError`` for an unknown token."""
    row = session.get(Link, hash_of(token))
    if row is None:
        raise NotThereError("This link is not known.", hint="Ask the shop for a new one.")
    about = issued_of(session, link=row)
    newest = latest_issued(session, walkaround=about.walkaround)
    state: LinkState = "revoked" if row.revoked else "expired" if row.expires <= now else "good"
    return Opened(link=row, issued=about, state=state, newest=newest is not None and newest.id == about.id)


def issued_of(session: Session, *, link: Link) -> Issued:
    """The estimate that a link leads to."""
    return there(session, Issued, link.issued, what="estimate")


def mark_opened(session: Session, *, token: str, now: datetime) -> None:
    """Notes the first time that a link was opened."""
    row = session.get(Link, hash_of(token))
    if row is not None and row.opened is None:
        row.opened = now
        session.flush()
        about = issued_of(session, link=row)
        history.record(
            session, what="link opened", now=now, walkaround=about.walkaround, details={"issued": about.id}
        )


def links(session: Session, *, issued: str) -> list[Link]:
    """All links to an issued estimate, the newest first."""
    return list(session.scalars(select(Link).where(Link.issued == issued).order_by(Link.created.desc())))


def revoke_links(session: Session, *, issued: str, now: datetime, person: str | None) -> int:
    """Closes every link to an issued estimate; returns how many were open."""
    about = there(session, Issued, issued, what="estimate")
    open_ones = [row for row in links(session, issued=issued) if row.revoked is None]
    for row in open_ones:
        row.revoked = now
    if open_ones:
        session.flush()
        history.record(
            session,
            what="links revoked",
            now=now,
            person=person,
            walkaround=about.walkaround,
            details={"issued": issued, "links": len(open_ones)},
        )
    return len(open_ones)


def set_expiry(
    session: Session, *, token_hash: str, expires: datetime, now: datetime, person: str | None
) -> Link:
    """A link ends earlier or later."""
    row = there(session, Link, token_hash, what="link")
    row.expires = expires
    session.flush()
    history.record(
        session,
        what="link's end changed",
        now=now,
        person=person,
        walkaround=issued_of(session, link=row).walkaround,
        details={"issued": row.issued, "expires": expires.isoformat()},
    )
    return row


# -- what customers said -------------------------------------------------------------------------------------


def add_consent(
    session: Session,
    *,
    issued: str,
    kind: str,
    name: str,
    means: str,
    fingerprint: str,
    now: datetime,
    contact: str = "",
    person: str | None = None,
    agreed: Sequence[str] = (),
    declined: Sequence[str] = (),
    amount: int | None = None,
    currency: str = "",
    text: str = "",
) -> Consent:
    """Keeps what a customer said. ``fingerprint`` is that of the document they had before them.

    An answer to anything but the newest version, or to a document other than the issued one, is
    ``StaleError``. ``amount`` in the currency's smallest unit. The state of the walk-around is the caller's.
    """
    about = there(session, Issued, issued, what="estimate")
    if kind not in CONSENT_KINDS:
        raise ValueError(f"no such kind: {kind}")
    if means not in MEANS:
        raise InputError(f"There is no means “{means}”.", hint=f"Choose one of {', '.join(MEANS)}.")
    if set(agreed) & set(declined):
        raise InputError("A job is both agreed to and declined.", hint="Choose one for each job.")
    if fingerprint != about.fingerprint:
        raise StaleError(
            "The estimate on the screen is not the one that was issued.", hint="Load the page again."
        )
    if kind == "answer":
        newest = latest_issued(session, walkaround=about.walkaround)
        if newest is None or newest.id != issued:
            raise StaleError("There is a newer version of this estimate.", hint="Answer to that one.")
    before = session.scalar(
        select(func.max(Consent.at))
        .join(Issued, Issued.id == Consent.issued)
        .where(Issued.walkaround == about.walkaround)
    )
    if before is not None and now <= before:  # the latest word counts, so no two are at the same moment
        now = before + timedelta(microseconds=1)
    row = Consent(
        issued=issued,
        at=now,
        kind=kind,
        name=text_of(name, most=120, what="name", needed=True),
        means=means,
        contact=text_of(contact, most=160, what="number or address"),
        person=person,
        agreed=list(agreed),
        declined=list(declined),
        amount=amount,
        currency=currency,
        fingerprint=fingerprint,
        text=text_of(text, most=10_000, what="text"),
    )
    session.add(row)
    session.flush()
    history.record(
        session,
        what=f"customer's {kind}",
        now=now,
        person=person,
        walkaround=about.walkaround,
        details={
            "consent": row.id,
            "issued": issued,
            "means": means,
            "agreed": list(agreed),
            "declined": list(declined),
            "amount": amount,
            "currency": currency,
            "fingerprint": fingerprint,
        },
    )
    return row


def consents(session: Session, *, issued: str | None = None, walkaround: str | None = None) -> list[Consent]:
    """Everything said to one issued version, or to all versions of a walk-around, in order."""
    wanted = select(Consent).order_by(Consent.at, Consent.id)
    if issued is not None:
        wanted = wanted.where(Consent.issued == issued)
    if walkaround is not None:
        wanted = wanted.join(Issued, Issued.id == Consent.issued).where(Issued.walkaround == walkaround)
    if issued is None and walkaround is None:
        raise ValueError("of an issued version or of a walk-around")
    return list(session.scalars(wanted))


# -- put off -------------------------------------------------------------------------------------------------


def put_off(
    session: Session,
    *,
    vehicle: str,
    issued: str,
    job: str,
    title: str,
    what: Mapping[str, Any],
    now: datetime,
    person: str | None = None,
) -> PutOff:
    """Work on a vehicle that was not agreed to. The same job of the same estimate again is the same row."""
    known = session.scalar(
        select(PutOff).where(PutOff.issued == issued, PutOff.job == job, PutOff.settled.is_(None))
    )
    if known is not None:
        return known
    there(session, VehicleRow, vehicle, what="vehicle")
    about = there(session, Issued, issued, what="estimate")
    row = PutOff(
        vehicle=vehicle,
        issued=issued,
        job=text_of(job, most=120, what="job", needed=True),
        title=text_of(title, most=200, what="title"),
        what=dict(what),
        at=now,
    )
    session.add(row)
    session.flush()
    history.record(
        session,
        what="put off",
        now=now,
        person=person,
        walkaround=about.walkaround,
        details={"put_off": row.id, "job": job},
    )
    return row


def put_off_of(session: Session, *, vehicle: str, settled_too: bool = False) -> list[PutOff]:
    """What was put off on a vehicle and is still open, the oldest first."""
    wanted = select(PutOff).where(PutOff.vehicle == vehicle)
    if not settled_too:
        wanted = wanted.where(PutOff.settled.is_(None))
    return list(session.scalars(wanted.order_by(PutOff.at, PutOff.id)))


def settle_put_off(session: Session, *, id: str, how: str, now: datetime, person: str | None) -> PutOff:
    """Done, or put aside by an advisor; ``how`` in a few words. ``RefusedError`` if it was settled before."""
    row = there(session, PutOff, id, what="work put off")
    if row.settled is not None:
        raise RefusedError("This was settled already.", hint="Load the page again.")
    row.settled, row.how = now, text_of(how, most=200, what="note", needed=True)
    session.flush()
    history.record(
        session,
        what="put off settled",
        now=now,
        person=person,
        walkaround=there(session, Issued, row.issued, what="estimate").walkaround,
        details={"put_off": id, "how": row.how},
    )
    return row
