"""Write the shipped schemas after a change of the models: ``python -m voicecheck.documents.make_schema``."""

from __future__ import annotations

from voicecheck.documents.draft_json import SCHEMA_FILE, schema_text
from voicecheck.documents.export import LINE_SCHEMA_FILE, line_schema_text
from voicecheck.documents.files import write_text


def main() -> None:
    """Write the files in ``schema/`` from the models."""
    write_text(SCHEMA_FILE, schema_text())
    write_text(LINE_SCHEMA_FILE, line_schema_text())


if __name__ == "__main__":
    main()
