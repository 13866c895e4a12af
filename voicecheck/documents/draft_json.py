"""A draft as JSON, back again, and the schema of that JSON."""

from __future__ import annotations

import json
from decimal import Decimal
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from voicecheck.records import FORMAT, Draft, InputError

SCHEMA_FILE = Path(__file__).parent / "schema" / "voicecheck-draft-1.schema.json"
SCHEMA_ID = "urn:voicecheck:schema:draft:1"


def _plain_number(value: object) -> str:
    if isinstance(value, Decimal):
        return format(value, "f")
    raise TypeError(f"{type(value).__name__} has no place in a draft")


def to_json(draft: Draft) -> str:
    """A draft as indented JSON with a newline at the end.

    Keys are in the order of the models and sorted where they are free (timings, certainties): equal drafts
    give equal text. Money, hours and quantities are decimal strings without exponent; unknown is ``null``.
    """
    value = draft.model_dump(mode="python", by_alias=True)
    value["timings"] = dict(sorted(value["timings"].items()))
    for finding in value["findings"]:
        finding["certainty"] = dict(sorted(finding["certainty"].items()))
    return json.dumps(value, default=_plain_number, ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def from_json(text: str) -> Draft:
    """The draft that ``to_json`` wrote. ``InputError`` names the first field that does not fit."""
    try:
        return Draft.model_validate_json(text)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        where = ".".join(str(part) for part in first["loc"]) or "the document"
        raise InputError(
            f"This is not a draft in the form {FORMAT}: {where}: {first['msg']}.",
            hint="`voicecheck draft FILE --json` writes such a document.",
        ) from error


def draft_schema() -> dict[str, Any]:
    """The JSON Schema (2020-12) of what ``to_json`` writes, made from the models."""
    schema = Draft.model_json_schema(mode="serialization", by_alias=True)
    head = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": SCHEMA_ID,
        "title": FORMAT,
    }
    return {**head, **{key: value for key, value in schema.items() if key not in head}}


def schema_text() -> str:
    """The schema as it is shipped in ``SCHEMA_FILE``."""
    return json.dumps(draft_schema(), ensure_ascii=False, indent=2) + "\n"
