"""How long recordings and photos stay. The words, the drafts and what was issued stay for good.

The owner sets a number of days for each; without one they are kept. What stays longer than the rule says:

- recordings and photos of a walk-around that still waits for its draft;
- photos and recordings (of which a clip was chosen) of an issued estimate, as long as a customer's link to it
  opens, and in any case ``SHOWN_FOR`` after it was issued;
- the prices that an estimate was issued with, and content that another row names too.
"""

from __future__ import annotations

import logging
import threading
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from voicecheck.records import InputError, VoicecheckError
from voicecheck.shop.services import Services
from voicecheck.shop.sound import forget
from voicecheck.store import history, owner, recordings
from voicecheck.store.owner import Aged

log = logging.getLogger("voicecheck.shop")

SETTING = "retention"
RAN = "retention ran"
SHOWN_FOR = timedelta(days=30)
LEAST_DAYS, MOST_DAYS = 1, 36500
DAILY = timedelta(days=1)
LEFT_HALF_S = 86400.0  # after so long a half-written file is nobody's any more


@dataclass(frozen=True, slots=True)
class Rule:
    """Days after which they go; ``None``: kept."""

    recordings: int | None = None
    photos: int | None = None


@dataclass(frozen=True, slots=True)
class Plan:
    """What the rule would take away now, and what it would leave although it is old enough."""

    takes: tuple[Aged, ...] = ()
    photos: tuple[Aged, ...] = ()
    held: tuple[Aged, ...] = ()

    @property
    def bytes(self) -> int:
        return sum(take.size for take in self.takes)


@dataclass(frozen=True, slots=True)
class Done:
    """What went. ``trouble`` is one sentence where it could not go on."""

    takes: int = 0
    photos: int = 0
    trouble: str = ""


def rule_of(services: Services) -> Rule:
    with services.database.reading() as session:
        return _rule(owner.get_setting(session, key=SETTING))


def _rule(value: dict[str, Any] | None) -> Rule:
    value = value or {}
    return Rule(value.get("recordings"), value.get("photos"))


def days_of(text: str, *, what: str) -> int | None:
    """The days that were typed, ``None`` for nothing. Raises ``InputError``."""
    text = text.strip()
    if not text:
        return None
    if not text.isdecimal() or not LEAST_DAYS <= int(text) <= MOST_DAYS:
        raise InputError(
            f"“{text}” is no number of days for the {what}.",
            hint=f"Give {LEAST_DAYS} to {MOST_DAYS}, or nothing to keep them.",
        )
    return int(text)


def set_rule(services: Services, rule: Rule, *, person: str) -> None:
    with services.database.session() as session:
        owner.set_setting(
            session,
            key=SETTING,
            value={"recordings": rule.recordings, "photos": rule.photos},
            now=services.clock(),
            person=person,
        )


def plan(services: Services, rule: Rule) -> Plan:
    """What would go now under ``rule``."""
    now = services.clock()
    takes: list[Aged] = []
    photos: list[Aged] = []
    with services.database.reading() as session:
        if rule.recordings is not None:
            takes = owner.aged_takes(
                session, before=now - timedelta(days=rule.recordings), now=now, shown_until=now - SHOWN_FOR
            )
        if rule.photos is not None:
            photos = owner.aged_photos(
                session, before=now - timedelta(days=rule.photos), now=now, shown_until=now - SHOWN_FOR
            )
    return Plan(
        takes=tuple(t for t in takes if not t.held),
        photos=tuple(p for p in photos if not p.held),
        held=tuple(x for x in (*takes, *photos) if x.held),
    )


def apply(services: Services, *, person: str | None = None) -> Done:
    """Takes away what the rule of now says. What cannot be deleted stays on record and is tried again.

    Each file goes before its row says so, under the one writer's lock: a process that dies in between leaves
    a row that the next run settles, never a file that nothing names.
    """
    wanted = plan(services, rule_of(services))
    takes = photos = 0
    trouble = ""
    try:
        for take in wanted.takes:
            _forget_take(services, take.id, person)
            takes += 1
        for photo in wanted.photos:
            _forget_photo(services, photo.id, person)
            photos += 1
    except VoicecheckError as error:
        trouble = f"{error.message} {error.hint}".strip()
        log.warning("retention: %s", error.message)
    now = services.clock()
    with services.database.session() as session:
        owner.set_note(
            session,
            key=RAN,
            value={"at": now.isoformat(), "takes": takes, "photos": photos, "trouble": trouble},
            now=now,
        )
        if person is not None or takes or photos or trouble:
            history.record(
                session,
                what="retention ran",
                now=now,
                person=person,
                details={"recordings": takes, "photos": photos, "held": len(wanted.held), "trouble": trouble},
            )
    return Done(takes, photos, trouble)


def _forget_take(services: Services, take: str, person: str | None) -> None:
    with services.database.session() as session:
        whole = recordings.take(session, id=take).media
        keys = recordings.forget_media(session, take=take, now=services.clock(), person=person)
        for key in sorted(keys):
            services.media.delete(key)
        if whole is not None and whole in keys:
            forget(whole, cache=services.settings.sound_cache)


def _forget_photo(services: Services, photo: str, person: str | None) -> None:
    with services.database.session() as session:
        keys = recordings.remove_photo(session, id=photo, now=services.clock(), person=person)
        for key in sorted(keys):
            services.media.delete(key)


def last_run(services: Services) -> dict[str, Any]:
    """When it ran last and what went: ``at``, ``takes``, ``photos``, ``trouble``; empty where never."""
    with services.database.reading() as session:
        return owner.get_setting(session, key=RAN) or {}


def is_due(services: Services) -> bool:
    last = last_run(services).get("at")
    return last is None or services.clock() - datetime.fromisoformat(last) >= DAILY


class Daily(threading.Thread):
    """Once a day: the retention rule, what the lexicon can learn, and half-written files swept out."""

    def __init__(self, services: Services, *, every_s: float = 900.0) -> None:
        super().__init__(name="daily", daemon=True)
        self._services = services
        self._every_s = every_s
        self._stop_asked = threading.Event()

    def run(self) -> None:
        while not self._stop_asked.wait(min(self._every_s, 20.0)):
            self.once()
            if self._stop_asked.wait(self._every_s):
                return

    def once(self) -> bool:
        """Does the day's work where it is due. Nothing that goes wrong here stops the server."""
        from voicecheck.shop.learning import collect

        services = self._services
        try:
            if not is_due(services):
                return False
            apply(services)
            services.media.tidy(older_than_s=LEFT_HALF_S, now_s=services.clock().timestamp())
            collect(services)
        except VoicecheckError as error:
            log.warning("the daily work: %s", error.message)
        except Exception:
            log.exception("the daily work")
        return True

    def stop(self) -> None:
        self._stop_asked.set()
