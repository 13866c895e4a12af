"""People, invitations and sessions. Passwords come hashed; tokens are kept as sha256 only."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import delete, func, select, update
from sqlalchemy.orm import Session

from voicecheck.records import InputError, RefusedError
from voicecheck.store import history
from voicecheck.store.tables import ROLES, Invitation, Person, SignedIn
from voicecheck.store.values import hash_of, text_of, there


@dataclass(frozen=True)
class Visit:
    """Who is behind a cookie: the session's row and the person's."""

    session: SignedIn
    person: Person


# -- people --------------------------------------------------------------------------------------------------


def add_person(
    session: Session,
    *,
    name: str,
    login: str,
    role: str,
    password_hash: str,
    now: datetime,
    by: str | None = None,
) -> Person:
    """A new person. ``InputError`` where the login is taken, or a field is empty, too long or unknown."""
    login = _login(login)
    if session.scalar(select(Person.id).where(Person.login == login)) is not None:
        raise InputError(f"There is somebody with the login {login} already.", hint="Choose another login.")
    person = Person(
        name=text_of(name, most=120, what="name", needed=True),
        login=login,
        role=_role(role),
        password_hash=password_hash,
        created=now,
    )
    session.add(person)
    session.flush()
    history.record(
        session, what="person added", now=now, person=by or person.id, details={"id": person.id, "role": role}
    )
    return person


def person(session: Session, *, id: str) -> Person:
    """The person with that id; ``NotThereError`` where there is none."""
    return there(session, Person, id, what="person")


def person_by_login(session: Session, *, login: str) -> Person | None:
    """The person with that login, also one who has left; ``None`` where there is none."""
    return session.scalar(select(Person).where(Person.login == login.strip().lower()))


def people(session: Session, *, with_left: bool = False, role: str | None = None) -> list[Person]:
    """Everybody who works here, by name; with those who left where asked for."""
    wanted = select(Person).order_by(Person.name, Person.id)
    if not with_left:
        wanted = wanted.where(Person.left_at.is_(None))
    if role is not None:
        wanted = wanted.where(Person.role == role)
    return list(session.scalars(wanted))


def count_people(session: Session, *, role: str | None = None) -> int:
    """How many work here now; 0 means that nobody has set the shop up yet."""
    wanted = select(func.count()).select_from(Person).where(Person.left_at.is_(None))
    return session.scalar(wanted if role is None else wanted.where(Person.role == role)) or 0


def change_person(
    session: Session,
    *,
    id: str,
    now: datetime,
    by: str | None,
    name: str | None = None,
    login: str | None = None,
    role: str | None = None,
) -> Person:
    """New name, login or role. The last owner stays owner (``RefusedError``)."""
    row = person(session, id=id)
    changed: dict[str, str] = {}
    if name is not None and (new := text_of(name, most=120, what="name", needed=True)) != row.name:
        row.name = new
        changed["name"] = "changed"
    if login is not None and (new := _login(login)) != row.login:
        if session.scalar(select(Person.id).where(Person.login == new)) is not None:
            raise InputError(f"There is somebody with the login {new} already.", hint="Choose another login.")
        row.login = new
        changed["login"] = "changed"
    if role is not None and _role(role) != row.role:
        _keep_an_owner(session, row)
        changed["role"] = f"{row.role} to {role}"
        row.role = role
    if changed:
        history.record(session, what="person changed", now=now, person=by, details={"id": id, **changed})
    return row


def set_password(session: Session, *, id: str, password_hash: str, now: datetime, by: str | None) -> Person:
    """A new password. Ends all sessions of that person; the caller begins a new one where it is their own."""
    row = person(session, id=id)
    row.password_hash = password_hash
    end_sessions_of(session, person=id)
    history.record(session, what="password changed", now=now, person=by, details={"id": id})
    return row


def renew_hash(session: Session, *, id: str, password_hash: str) -> None:
    """The same password hashed anew with stronger settings; nothing that a person would call a change."""
    person(session, id=id).password_hash = password_hash


def person_leaves(session: Session, *, id: str, now: datetime, by: str | None) -> Person:
    """No way in any more, sessions ended; what they did stays under their name. The last owner stays."""
    row = person(session, id=id)
    if row.left_at is None:
        _keep_an_owner(session, row)
        row.left_at = now
        end_sessions_of(session, person=id)
        history.record(session, what="person left", now=now, person=by, details={"id": id})
    return row


def person_returns(session: Session, *, id: str, now: datetime, by: str | None) -> Person:
    """Undoes ``person_leaves``."""
    row = person(session, id=id)
    if row.left_at is not None:
        row.left_at = None
        history.record(session, what="person returned", now=now, person=by, details={"id": id})
    return row


def _keep_an_owner(session: Session, row: Person) -> None:
    if row.role == "owner" and row.left_at is None and count_people(session, role="owner") < 2:
        raise RefusedError(
            f"{row.name} is the only owner, and the shop needs one.",
            hint="Make somebody else an owner first.",
        )


def _login(login: str) -> str:
    login = text_of(login, most=120, what="login", needed=True).lower()
    if any(letter.isspace() for letter in login):
        raise InputError("A login has no spaces in it.", hint="Leave them out.")
    return login


def _role(role: str) -> str:
    if role not in ROLES:
        raise InputError(f"There is no role {role}.", hint=f"Choose one of {', '.join(ROLES)}.")
    return role


# -- invitations ---------------------------------------------------------------------------------------------


def invite(
    session: Session,
    *,
    token: str,
    role: str,
    now: datetime,
    expires: datetime,
    by: str | None,
    name: str = "",
    person: str | None = None,
) -> Invitation:
    """A one-time way in: to become a person of ``role``, or, for ``person``, to set a new password."""
    row = Invitation(
        token_hash=hash_of(token),
        role=_role(role),
        name=text_of(name, most=120, what="name"),
        person=person,
        created=now,
        expires=expires,
    )
    session.add(row)
    history.record(session, what="invited", now=now, person=by, details={"role": role, "for": person})
    return row


def invitation(session: Session, *, token: str, now: datetime) -> Invitation | None:
    """The invitation behind ``token`` if it can still be used."""
    row = session.get(Invitation, hash_of(token))
    return row if row is not None and row.used is None and row.expires > now else None


def open_invitations(session: Session, *, now: datetime) -> list[Invitation]:
    """Those not yet used or expired, oldest first."""
    wanted = select(Invitation).where(Invitation.used.is_(None), Invitation.expires > now)
    return list(session.scalars(wanted.order_by(Invitation.created)))


def use_invitation(session: Session, *, token: str, now: datetime) -> Invitation:
    """Marks it used, once. ``InputError`` where it is unknown, used or expired.

    The caller adds the person or sets the password in the same session, so that both happen or none.
    """
    row = session.get(Invitation, hash_of(token))
    if row is None or row.used is not None or row.expires <= now:
        why = "is not known" if row is None else "was used already" if row.used is not None else "has expired"
        raise InputError(f"This invitation {why}.", hint="Ask the owner for a new one.")
    row.used = now
    history.record(session, what="invitation used", now=now, person=row.person, details={"role": row.role})
    return row


def withdraw_invitation(session: Session, *, token_hash: str, now: datetime, by: str | None) -> None:
    """It cannot be used any more."""
    row = there(session, Invitation, token_hash, what="invitation")
    if row.used is None and row.expires > now:
        row.expires = now
        history.record(session, what="invitation withdrawn", now=now, person=by, details={"role": row.role})


# -- sessions ------------------------------------------------------------------------------------------------


def begin_session(
    session: Session, *, token: str, person: str, csrf: str, now: datetime, expires: datetime
) -> SignedIn:
    """Somebody has signed in. ``token`` is the cookie's value, ``csrf`` goes into every form."""
    row = SignedIn(
        token_hash=hash_of(token), person=person, csrf=csrf, created=now, seen=now, expires=expires
    )
    session.add(row)
    history.record(session, what="signed in", now=now, person=person)
    return row


def visit(session: Session, *, token: str, now: datetime) -> Visit | None:
    """Who is behind the cookie ``token``; ``None`` when unknown, expired, ended or of one who left."""
    found = session.execute(
        select(SignedIn, Person)
        .join(Person, Person.id == SignedIn.person)
        .where(SignedIn.token_hash == hash_of(token), SignedIn.expires > now, Person.left_at.is_(None))
    ).one_or_none()
    return None if found is None else Visit(session=found[0], person=found[1])


def touch_session(session: Session, *, token: str, now: datetime, expires: datetime | None = None) -> None:
    """Notes that it is in use, and a later end where given. Call it now and then, not at every request."""
    values = {"seen": now} if expires is None else {"seen": now, "expires": expires}
    session.execute(update(SignedIn).where(SignedIn.token_hash == hash_of(token)).values(values))


def end_session(session: Session, *, token: str, now: datetime) -> None:
    """Signs out; nothing happens where there is no such session."""
    row = session.get(SignedIn, hash_of(token))
    if row is not None:
        session.delete(row)
        history.record(session, what="signed out", now=now, person=row.person)


def end_sessions_of(session: Session, *, person: str, but: str | None = None) -> int:
    """Ends all sessions of a person, all but that of the token ``but``; returns how many."""
    gone = delete(SignedIn).where(SignedIn.person == person)
    if but is not None:
        gone = gone.where(SignedIn.token_hash != hash_of(but))
    return _rows(session.execute(gone))


def drop_expired_sessions(session: Session, *, now: datetime) -> int:
    """Housekeeping; returns how many went."""
    return _rows(session.execute(delete(SignedIn).where(SignedIn.expires <= now)))


def _rows(result: object) -> int:
    return int(getattr(result, "rowcount", 0))
