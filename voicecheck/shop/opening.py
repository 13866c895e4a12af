"""Opening the shop: the services from the settings, and the first owner's one-time link."""

from __future__ import annotations

from datetime import timedelta

from voicecheck.shop.services import Services
from voicecheck.shop.settings import Settings
from voicecheck.shop.work.make import durable_work
from voicecheck.shop.workshops import Workshops
from voicecheck.store import people
from voicecheck.store.database import Database
from voicecheck.store.media import MediaStore
from voicecheck.store.migrate import migrate
from voicecheck.store.values import new_token

FIRST_LINK = timedelta(hours=24)


def open_shop(settings: Settings) -> Services:
    """Database (brought up to date), media, work, shop files. Raises ``StoreError`` or ``DataError``."""
    database = Database(settings.database)
    migrate(database)
    media = MediaStore(settings.media)
    return Services(
        settings=settings,
        database=database,
        media=media,
        work=durable_work(settings, database=database, media=media),
        workshop=Workshops(settings.shop_folder),
    )


def first_link(services: Services) -> str | None:
    """The path that makes the first owner, where nobody is there yet; there is no default password.

    Each start makes a new one and ends those before.
    """
    now = services.clock()
    with services.database.session() as session:
        if people.count_people(session) > 0:
            return None
        for old in people.open_invitations(session, now=now):
            people.withdraw_invitation(session, token_hash=old.token_hash, now=now, by=None)
        token = new_token()
        people.invite(session, token=token, role="owner", now=now, expires=now + FIRST_LINK, by=None)
    return f"/join/{token}"
