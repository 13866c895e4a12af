"""JSON that is the same for the same content, and its fingerprint, which consents and the history name."""

from __future__ import annotations

import hashlib
import json
from typing import Any


def canonical(document: Any) -> str:
    """``document`` (plain JSON values) as text: sorted keys, no spaces, not escaped; NaN is refused."""
    return json.dumps(document, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def fingerprint(document: Any) -> str:
    """The sha256 of ``canonical(document)`` in UTF-8, 64 hex digits."""
    return hashlib.sha256(canonical(document).encode("utf-8", "surrogatepass")).hexdigest()
