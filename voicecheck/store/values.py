"""What the modules of this package share: clean text, fingerprints, tokens, rows that must be there."""

from __future__ import annotations

import hashlib
import secrets
from typing import Any, TypeVar

from sqlalchemy.orm import Session

from voicecheck.records import InputError, NotThereError
from voicecheck.store.tables import Base

Row = TypeVar("Row", bound=Base)

TOKEN_BYTES = 32


def new_token() -> str:
    """A random value for a link or a cookie, safe in an address. Shown once, kept as ``hash_of`` only."""
    return secrets.token_urlsafe(TOKEN_BYTES)


def hash_of(token: str) -> str:
    """The sha256 of a token. Nothing slower is needed: the token is random and long."""
    return hashlib.sha256(token.encode("utf-8", "surrogatepass")).hexdigest()


def text_of(value: str, *, most: int, what: str, needed: bool = False) -> str:
    """``value`` trimmed, without control characters. ``InputError`` if too long, or empty and ``needed``."""
    kept = "".join(letter for letter in value if letter.isprintable() or letter in "\n\t").strip()
    if len(kept) > most:
        raise InputError(
            f"The {what} has {len(kept)} characters; at most {most} fit.", hint="Make it shorter."
        )
    if needed and not kept:
        raise InputError(f"The {what} is empty.", hint=f"Give a {what}.")
    return kept


def there(session: Session, table: type[Row], key: Any, *, what: str) -> Row:
    """The row with primary key ``key``. Raises ``NotThereError``: "There is no such WHAT."""
    row = session.get(table, key)
    if row is None:
        raise NotThereError(
            f"There is no such {what}.", hint="It may have been removed; look at the list again."
        )
    return row
