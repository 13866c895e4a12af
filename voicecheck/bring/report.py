"""The report of what was brought, as lines of text, and its faults as a table."""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Iterator

from voicecheck.bring.compare import Changes
from voicecheck.bring.fault import Fault
from voicecheck.bring.run import Outcome

SHOWN = 40  # faults, and rows of each kind of change, unless all are asked for
FAULT_COLUMNS = ("severity", "row", "column", "cell", "field", "value", "message", "todo")
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def report_lines(outcome: Outcome, *, everything: bool = False) -> Iterator[str]:
    """The report: what was read, faults, changes, and what became of it."""
    most = None if everything else SHOWN
    yield from outcome.notes[:most]
    if most is not None and len(outcome.notes) > most:
        yield f"… and {len(outcome.notes) - most} more of these; --all shows them."
    errors = [f for f in outcome.faults if f.severity == "error"]
    doubts = [f for f in outcome.faults if f.severity == "warning"]
    yield from _faults("Faults", errors, most)
    yield from _faults("To look at", doubts, most)
    if outcome.changes is not None:
        yield from _changes(outcome.changes, most)
    yield _verdict(outcome)


def _faults(title: str, faults: list[Fault], most: int | None) -> Iterator[str]:
    if not faults:
        return
    yield f"{title}: {len(faults)}"
    for fault in faults[:most]:
        yield f"  {fault}"
    if most is not None and len(faults) > most:
        rest = Counter(f.column or f.field or "the table" for f in faults[most:])
        where = ", ".join(f"{n} in “{name}”" for name, n in rest.most_common(5))
        yield f"  … and {len(faults) - most} more ({where}); --all shows them."


def _changes(changes: Changes, most: int | None) -> Iterator[str]:
    yield (
        f"New {len(changes.new)}, changed {len(changes.changed)}, gone {len(changes.gone)}, "
        f"unchanged {changes.unchanged}."
    )
    for change in changes.changed[:most]:
        fields = "; ".join(f"{f + ': ' if f else ''}{a} → {b}" for f, a, b in change.fields)
        yield f"  changed {change.key}: {fields}"
    for told in changes.new_fields[:most]:
        yield f"  new {told.key}: {'; '.join(f'{f} {b}'.strip() for f, _, b in told.fields)}"
    for title, keys in (("new", () if changes.new_fields else changes.new), ("gone", changes.gone)):
        if keys:
            shown = keys if most is None else keys[:most]
            more = f" … and {len(keys) - len(shown)} more" if len(shown) < len(keys) else ""
            yield f"  {title}: {', '.join(shown)}{more}"
    if most is not None and len(changes.changed) > most:
        yield f"  … and {len(changes.changed) - most} more changed; --all shows them."


def _verdict(outcome: Outcome) -> str:
    if outcome.errors:
        return f"Nothing was written. {outcome.target} is as it was."
    if outcome.changes is not None and not outcome.changes.any and not outcome.written:
        return f"Nothing was written: {outcome.target} says the same already."
    if outcome.dry_run:
        return f"Nothing was written (dry run). {outcome.target} would be replaced as told above."
    kept = f" The one before is kept as {outcome.kept}." if outcome.kept is not None else ""
    return f"Wrote {outcome.target}.{kept}"


def faults_csv(outcome: Outcome) -> str:
    """Every fault as CSV, one row each. A text that a spreadsheet might run as a formula has a ' in front."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(FAULT_COLUMNS)
    for fault in outcome.faults:
        row = fault.model_dump()
        texts = ("" if row[c] is None else str(row[c]) for c in FAULT_COLUMNS)
        writer.writerow([f"'{t}" if t.lstrip(" ").startswith(_FORMULA) else t for t in texts])
    return out.getvalue()
