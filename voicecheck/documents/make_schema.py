"""Write the shipped schema after a change of the models: ``python -m voicecheck.documents.make_schema``."""

from __future__ import annotations

from voicecheck.documents.draft_json import SCHEMA_FILE, schema_text
from voicecheck.documents.files import write_text


def main() -> None:
    """Write ``schema/voicecheck-draft-1.schema.json`` from the models."""
    write_text(SCHEMA_FILE, schema_text())


if __name__ == "__main__":
    main()
