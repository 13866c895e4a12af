"""The rows of the shop: one class per table. No logic; the modules beside this one read and write them.

Ids are random 128-bit hex strings, so that rows made on two machines never collide. Times are UTC. A
walk-around is one vehicle looked at once; its recordings are *takes*, numbered from 1. Rows of ``history``,
``decisions``, ``issued`` and ``consents`` are never changed or deleted (triggers refuse it).
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any, ClassVar
from uuid import uuid4

from sqlalchemy import (
    JSON,
    DateTime,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    String,
    Text,
    TypeDecorator,
    UniqueConstraint,
)
from sqlalchemy.engine import Dialect
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

ROLES = ("technician", "advisor", "owner")
WALKAROUND_STATES = (
    "recording",  # parts of the recording are still on the phone
    "waiting",  # everything has arrived, no worker has begun
    "working",  # a worker listens or drafts
    "review",  # a draft is there for the advisor
    "issued",  # the customer has the estimate
    "answered",  # the customer has agreed to or declined every job
    "closed",  # done with
    "failed",  # could not be drafted; ``trouble`` says why in one sentence
)


class UtcTime(TypeDecorator[datetime]):
    """A moment, stored as UTC without zone, read back with it. Naive times are refused."""

    impl = DateTime
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"a time without a zone: {value}")
        return value.astimezone(UTC).replace(tzinfo=None)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002
        return None if value is None else value.replace(tzinfo=UTC)


def new_id() -> str:
    return uuid4().hex


class Base(DeclarativeBase):
    type_annotation_map: ClassVar[dict[Any, Any]] = {
        datetime: UtcTime,
        dict[str, Any]: JSON(none_as_null=True),
        list[Any]: JSON(none_as_null=True),
        bytes: LargeBinary,
    }


class Person(Base):
    """Somebody who works here. ``login`` is lower case; ``left_at`` set means no way in any more."""

    __tablename__ = "people"
    id: Mapped[str] = mapped_column(String(32), primary_key=True, default=new_id)
    name: Mapped[str] = mapped_column(String(120))
    login: Mapped[str] = mapped_column(String(120), unique=True)
    role: Mapped[str] = mapped_column(String(16))
    password_hash: Mapped[str] = mapped_column(String(200))
    created: Mapped[datetime]
    left_at: Mapped[datetime | None]


class Invitation(Base):
    """A one-time link to become a person of a role; only the sha256 of its token is kept."""

    __tablename__ = "invitations"
    token_hash: Mapped[str] = mapped_column(String(64), primary_key=True)
    role: Mapped[str] = mapped_column(String(16))
    name: Mapped[str] = mapped_column(String(120), default="")
    person: Mapped[str | None] = mapped_column(ForeignKey("people.id"))  # set: a new password for that person
    created: Mapped[datetime]
    expires: Mapped[datetime]
    used: Mapped[datetime | None]


class SignedIn(Base):
    """A session; the cookie's random value is kept as sha256 only."""

    __tablename__ = "sessions"
    token_hash: Mapped[str] = mapped_column(String(64), primary_key=True)
    person: Mapped[str] = mapped_column(ForeignKey("people.id"), index=True)
    csrf: Mapped[str] = mapped_column(String(64))
    created: Mapped[datetime]
    seen: Mapped[datetime]
    expires: Mapped[datetime]


class VehicleRow(Base):
    """A vehicle that has been here; plate and VIN upper case without spaces, "" where not known."""

    __tablename__ = "vehicles"
    id: Mapped[str] = mapped_column(String(32), primary_key=True, default=new_id)
    plate: Mapped[str] = mapped_column(String(16), default="", index=True)
    vin: Mapped[str] = mapped_column(String(17), default="", index=True)
    title: Mapped[str] = mapped_column(String(120), default="")  # "2014 blue van", as a person calls it
    customer: Mapped[dict[str, Any]] = mapped_column(default=dict)  # name, phone, e-mail, address
    created: Mapped[datetime]


class Walkaround(Base):
    """One vehicle looked at once. ``seq`` is the number of the last decision (0: none yet)."""

    __tablename__ = "walkarounds"
    id: Mapped[str] = mapped_column(String(32), primary_key=True, default=new_id)
    vehicle: Mapped[str | None] = mapped_column(ForeignKey("vehicles.id"), index=True)
    title: Mapped[str] = mapped_column(String(160), default="")
    technician: Mapped[str | None] = mapped_column(ForeignKey("people.id"))
    state: Mapped[str] = mapped_column(String(16))
    market: Mapped[str] = mapped_column(String(2), default="US")
    created: Mapped[datetime] = mapped_column(index=True)
    received: Mapped[datetime | None]  # when the last part had arrived
    drafted: Mapped[datetime | None]
    stage: Mapped[str] = mapped_column(String(24), default="")  # what the worker is doing
    share: Mapped[float] = mapped_column(default=0.0)  # of that stage, 0-1
    trouble: Mapped[str] = mapped_column(Text, default="")
    run: Mapped[int] = mapped_column(Integer, default=0)  # how often it was handed in for drafting
    seq: Mapped[int] = mapped_column(Integer, default=0)
    open_asks: Mapped[int] = mapped_column(Integer, default=0)  # for the list; the draft is the truth
    particulars: Mapped[dict[str, Any]] = mapped_column(default=dict)  # for the papers: complaint, odometer …
    __table_args__ = (
        Index("walkarounds_by_state", "state", "created"),
        Index("walkarounds_by_technician", "technician", "created"),
    )


class Take(Base):
    """One recording of a walk-around. ``client_key`` is the phone's: the same upload twice is one take."""

    __tablename__ = "takes"
    id: Mapped[str] = mapped_column(String(32), primary_key=True, default=new_id)
    walkaround: Mapped[str] = mapped_column(ForeignKey("walkarounds.id"))
    number: Mapped[int] = mapped_column(Integer)
    client_key: Mapped[str] = mapped_column(String(64), unique=True)
    kind: Mapped[str] = mapped_column(String(64), default="")  # media type as the phone says
    name: Mapped[str] = mapped_column(String(200), default="")
    created: Mapped[datetime]
    parts_expected: Mapped[int | None]  # known once the phone has finished
    seconds_claimed: Mapped[float | None]  # by the phone; compared with what decodes
    complete: Mapped[datetime | None]
    media: Mapped[str | None] = mapped_column(
        String(64), index=True
    )  # sha256 of the whole, once put together
    size: Mapped[int | None]
    seconds: Mapped[float | None]
    transcript: Mapped[dict[str, Any] | None]  # result of the listening step
    deleted: Mapped[datetime | None]  # media removed by the retention rule; words stay
    __table_args__ = (UniqueConstraint("walkaround", "number"),)


class TakePart(Base):
    """A part of a take as it arrived; numbered from 0."""

    __tablename__ = "take_parts"
    take: Mapped[str] = mapped_column(ForeignKey("takes.id"), primary_key=True)
    number: Mapped[int] = mapped_column(Integer, primary_key=True)
    media: Mapped[str] = mapped_column(String(64), index=True)
    size: Mapped[int]
    arrived: Mapped[datetime]


class Photo(Base):
    """A picture added while talking, ``at`` seconds into take ``take`` where known."""

    __tablename__ = "photos"
    id: Mapped[str] = mapped_column(String(32), primary_key=True, default=new_id)
    walkaround: Mapped[str] = mapped_column(ForeignKey("walkarounds.id"), index=True)
    client_key: Mapped[str] = mapped_column(String(64), unique=True)
    media: Mapped[str] = mapped_column(String(64), index=True)
    kind: Mapped[str] = mapped_column(String(32))
    at: Mapped[float | None]
    take: Mapped[str | None] = mapped_column(ForeignKey("takes.id"))
    taken: Mapped[datetime]


class DraftRow(Base):
    """A machine's draft (``voicecheck-draft/1``). ``key`` names what it was made from."""

    __tablename__ = "drafts"
    id: Mapped[str] = mapped_column(String(32), primary_key=True, default=new_id)
    walkaround: Mapped[str] = mapped_column(ForeignKey("walkarounds.id"))
    number: Mapped[int] = mapped_column(Integer)  # from 1 within the walk-around; clocks of machines differ
    key: Mapped[str] = mapped_column(String(120), unique=True)
    made: Mapped[datetime]
    lexicon_version: Mapped[int] = mapped_column(Integer, default=0)
    document: Mapped[dict[str, Any]]
    __table_args__ = (UniqueConstraint("walkaround", "number"),)


class DecisionRow(Base):
    """What a person decided at the desk; ``seq`` counts from 1 within a walk-around. Append-only."""

    __tablename__ = "decisions"
    walkaround: Mapped[str] = mapped_column(ForeignKey("walkarounds.id"), primary_key=True)
    seq: Mapped[int] = mapped_column(Integer, primary_key=True)
    draft: Mapped[str] = mapped_column(ForeignKey("drafts.id"))
    person: Mapped[str] = mapped_column(ForeignKey("people.id"))
    at: Mapped[datetime]
    kind: Mapped[str] = mapped_column(String(24))
    decision: Mapped[dict[str, Any]]


class Issued(Base):
    """An estimate as the customer gets it. ``fingerprint`` is the sha256 of ``document``. Append-only."""

    __tablename__ = "issued"
    id: Mapped[str] = mapped_column(String(32), primary_key=True, default=new_id)
    walkaround: Mapped[str] = mapped_column(ForeignKey("walkarounds.id"))
    version: Mapped[int]
    seq: Mapped[int]  # the decisions it contains
    at: Mapped[datetime]
    person: Mapped[str] = mapped_column(ForeignKey("people.id"))
    fingerprint: Mapped[str] = mapped_column(String(64))
    document: Mapped[dict[str, Any]]  # what the pages and PDFs are made from
    draft: Mapped[dict[str, Any]]  # the draft behind it, decisions applied
    total: Mapped[int]  # in the currency's smallest unit
    currency: Mapped[str] = mapped_column(String(3))
    __table_args__ = (UniqueConstraint("walkaround", "version"),)


class Link(Base):
    """A customer's way to one issued estimate; only the sha256 of its token is kept."""

    __tablename__ = "links"
    token_hash: Mapped[str] = mapped_column(String(64), primary_key=True)
    issued: Mapped[str] = mapped_column(ForeignKey("issued.id"), index=True)
    created: Mapped[datetime]
    expires: Mapped[datetime]
    revoked: Mapped[datetime | None]
    opened: Mapped[datetime | None]


class Consent(Base):
    """What a customer said to an issued estimate: agreed, declined, withdrew, asked. Append-only."""

    __tablename__ = "consents"
    id: Mapped[str] = mapped_column(String(32), primary_key=True, default=new_id)
    issued: Mapped[str] = mapped_column(ForeignKey("issued.id"), index=True)
    at: Mapped[datetime]
    kind: Mapped[str] = mapped_column(String(16))  # answer | withdrawal | question | reply
    name: Mapped[str] = mapped_column(String(120))
    means: Mapped[str] = mapped_column(String(16))  # link | phone | in person
    contact: Mapped[str] = mapped_column(String(160), default="")  # number or address used
    person: Mapped[str | None] = mapped_column(ForeignKey("people.id"))  # who wrote it down
    agreed: Mapped[list[Any]] = mapped_column(default=list)  # job ids
    declined: Mapped[list[Any]] = mapped_column(default=list)
    amount: Mapped[int | None]  # of what was agreed, smallest unit
    currency: Mapped[str] = mapped_column(String(3), default="")
    fingerprint: Mapped[str] = mapped_column(String(64))  # of the document that was on the screen
    text: Mapped[str] = mapped_column(Text, default="")


class PutOff(Base):
    """Work that was not agreed to; comes back as a suggestion when the vehicle returns."""

    __tablename__ = "put_off"
    id: Mapped[str] = mapped_column(String(32), primary_key=True, default=new_id)
    vehicle: Mapped[str] = mapped_column(ForeignKey("vehicles.id"), index=True)
    issued: Mapped[str] = mapped_column(ForeignKey("issued.id"))
    job: Mapped[str] = mapped_column(String(120))
    title: Mapped[str] = mapped_column(String(200))
    what: Mapped[dict[str, Any]]  # the job as it was issued
    at: Mapped[datetime]
    settled: Mapped[datetime | None]  # done, or put aside by an advisor
    how: Mapped[str] = mapped_column(String(200), default="")


class History(Base):
    """Who did what and when. Append-only; each row carries the hash of the one before."""

    __tablename__ = "history"
    number: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=True)
    at: Mapped[datetime]
    person: Mapped[str | None] = mapped_column(String(32), index=True)
    walkaround: Mapped[str | None] = mapped_column(String(32), index=True)
    what: Mapped[str] = mapped_column(String(48))
    details: Mapped[dict[str, Any]] = mapped_column(default=dict)
    before: Mapped[str] = mapped_column(String(64))
    hash: Mapped[str] = mapped_column(String(64))


class Worker(Base):
    """A running worker's sign of life. ``taken_by`` names who took a dead one's work over."""

    __tablename__ = "workers"
    executor: Mapped[str] = mapped_column(String(64), primary_key=True)
    host: Mapped[str] = mapped_column(String(120))
    started: Mapped[datetime]
    seen: Mapped[datetime]
    stopped: Mapped[datetime | None]
    taken_by: Mapped[str | None] = mapped_column(String(64))


class Setting(Base):
    """What the owner set: rates' file, market, retention, law profile …; value as JSON."""

    __tablename__ = "settings"
    key: Mapped[str] = mapped_column(String(64), primary_key=True)
    value: Mapped[dict[str, Any]]
    changed: Mapped[datetime]
    person: Mapped[str | None] = mapped_column(ForeignKey("people.id"))


class SuggestionRow(Base):
    """Something the lexicon could learn, with the sentences and seconds it came from."""

    __tablename__ = "suggestions"
    id: Mapped[str] = mapped_column(String(32), primary_key=True, default=new_id)
    key: Mapped[str] = mapped_column(String(200), unique=True)  # the same suggestion again adds its sentence
    kind: Mapped[str] = mapped_column(String(24))
    what: Mapped[dict[str, Any]]
    sentences: Mapped[list[Any]] = mapped_column(default=list)
    state: Mapped[str] = mapped_column(String(16), default="open")  # open | adopted | declined
    created: Mapped[datetime]
    decided: Mapped[datetime | None]
    person: Mapped[str | None] = mapped_column(ForeignKey("people.id"))


class LexiconVersion(Base):
    """An adopted set of the shop's own term files; ``files`` holds name -> text. Version 0 is none."""

    __tablename__ = "lexicon_versions"
    number: Mapped[int] = mapped_column(Integer, primary_key=True)
    at: Mapped[datetime]
    person: Mapped[str | None] = mapped_column(ForeignKey("people.id"))
    note: Mapped[str] = mapped_column(Text, default="")
    files: Mapped[dict[str, Any]]
