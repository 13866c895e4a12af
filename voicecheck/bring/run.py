"""Brings one table into a shop's folder: read, map, check, compare, and only then replace."""

from __future__ import annotations

import datetime
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from voicecheck.bring.compare import Changes, Entries, compare, operations_of, settings_of
from voicecheck.bring.fault import Fault, FaultList
from voicecheck.bring.keep import Earlier, digest, replace_file
from voicecheck.bring.mapping import Kind, Mapping, load_mapping
from voicecheck.bring.names import ComponentNames
from voicecheck.bring.operations import FIELDS, check_rows, read_operations
from voicecheck.bring.settings import note_problems, read_settings
from voicecheck.bring.source import Tell
from voicecheck.catalogue import check_policies, check_prices, load_catalogue, load_policies, load_prices
from voicecheck.lexicon import Lexicon
from voicecheck.records import DataError, PriceProfile, Problem, Record

USUAL_NAME: dict[Kind, str] = {
    "catalogue": "catalogue.csv",
    "prices": "prices.yaml",  # until its market is known: then prices.us.yaml or prices.uk.yaml
    "policies": "policies.yaml",
}


class Outcome(Record):
    """What came of it. ``written`` is false after a dry run, with faults, and where nothing changed."""

    kind: Kind
    source: Path
    target: Path
    rows: int = 0
    faults: tuple[Fault, ...] = ()
    notes: tuple[str, ...] = ()
    changes: Changes | None = None
    dry_run: bool = False
    written: bool = False
    kept: Path | None = None  # the file that was replaced

    @property
    def errors(self) -> int:
        """How many faults keep the table from being used."""
        return sum(f.severity == "error" for f in self.faults)


def bring_table(
    kind: Kind,
    file: Path,
    mapping_file: Path,
    *,
    to: Path,
    lexicon: Lexicon,
    today: datetime.date,
    sheet: str = "",
    dry_run: bool = False,
    tell: Tell | None = None,
) -> Outcome:
    """The table ``file`` as the shop's own file of this kind in the folder ``to``.

    Nothing is written where there is any fault. Raises ``InputError`` and ``DataError`` for a file or a
    mapping that cannot be used at all, ``OutputError`` where the folder cannot be written. ``today`` is the
    day in the name of the file that is replaced; ``tell`` hears how many rows were read.
    """
    mapping = load_mapping(mapping_file, kind=kind, fields=FIELDS)
    names = ComponentNames(lexicon.components)
    base = Outcome(kind=kind, source=file, target=to / USUAL_NAME[kind], dry_run=dry_run)
    with tempfile.TemporaryDirectory(prefix="voicecheck-bring-") as folder:
        make = _catalogue if kind == "catalogue" else _settings
        made = make(
            base, file, mapping, names=names, lexicon=lexicon, sheet=sheet, tell=tell, folder=Path(folder)
        )
    notes = [f"“{word}” was taken for {found} by its name." for word, found in sorted(names.by_name.items())]
    outcome = made.outcome.model_copy(update={"notes": (*made.outcome.notes, *notes)})
    return _finish(outcome, made.data, before=made.before, today=today)


@dataclass(frozen=True)
class _Made:
    """A report, the new file, and the digest of the file that it was compared with."""

    outcome: Outcome
    data: bytes = b""
    before: str = ""


def _catalogue(
    base: Outcome,
    file: Path,
    mapping: Mapping,
    *,
    names: ComponentNames,
    lexicon: Lexicon,
    sheet: str,
    tell: Tell | None,
    folder: Path,
) -> _Made:
    faults = FaultList()
    brought = read_operations(file, mapping, names=names, faults=faults, sheet=sheet, tell=tell)
    if brought is None:
        return _Made(base.model_copy(update={"faults": faults.in_order(), "notes": tuple(faults.notes)}))
    notes = [*brought.source.table.notes]
    notes += [f"Rounded as the mapping says, in “{name}”: {n}." for name, n in brought.rounded.items()]
    if brought.free:
        notes.append(f"Parts at a price of 0: {brought.free}. If 0 means “not known”, translate it to “?”.")
    ids = lexicon.components.keys()
    candidate = folder / base.target.name
    candidate.write_text(brought.csv_text(), encoding="utf-8", newline="")
    check_rows(brought, candidate, component_ids=ids, faults=faults)
    before, changes, rows = digest(base.target), None, len(brought.numbers)
    del brought  # where the rows came from is not needed any more, and takes much memory for a long table
    if not faults.errors:
        made = operations_of(load_catalogue(candidate, component_ids=ids))
        present = _present(base.target, notes, lambda path: operations_of(load_catalogue(path)))
        changes = compare(present, made)
    outcome = base.model_copy(
        update={
            "rows": rows,
            "faults": faults.in_order(),
            "notes": tuple(notes),
            "changes": changes,
        }
    )
    return _Made(outcome, candidate.read_bytes(), before)


def _settings(
    base: Outcome,
    file: Path,
    mapping: Mapping,
    *,
    names: ComponentNames,
    lexicon: Lexicon,
    sheet: str,
    tell: Tell | None,
    folder: Path,
) -> _Made:
    reader = _READERS[base.kind]
    faults = FaultList()
    made = read_settings(file, mapping, names=names, faults=faults, sheet=sheet, tell=tell)
    if made is None:
        return _Made(base.model_copy(update={"faults": faults.in_order(), "notes": tuple(faults.notes)}))
    notes = [*made.notes]
    notes += [f"Rounded as the mapping says, in “{name}”: {n}." for name, n in made.rounded.items()]
    candidate = folder / base.target.name
    candidate.write_text(made.text, encoding="utf-8", newline="")
    note_problems(reader.check(candidate, lexicon), made, faults)
    target, before, changes = base.target, "", None
    if not faults.errors:
        profile = reader.load(candidate, lexicon)
        if isinstance(profile, PriceProfile):
            target = target.with_name(f"prices.{profile.market.lower()}.yaml")
        before = digest(target)
        present = _present(target, notes, lambda path: settings_of(reader.load(path, lexicon)))
        changes = compare(present, settings_of(profile), tell_new=True)
    outcome = base.model_copy(
        update={
            "target": target,
            "rows": made.rows,
            "faults": faults.in_order(),
            "notes": tuple(notes),
            "changes": changes,
        }
    )
    return _Made(outcome, candidate.read_bytes(), before)


@dataclass(frozen=True)
class _YamlKind:
    """The check and the loader of a YAML file of ours."""

    check: Callable[[Path, Lexicon], list[Problem]]
    load: Callable[[Path, Lexicon], Record]


_READERS: dict[Kind, _YamlKind] = {
    "prices": _YamlKind(
        lambda path, lexicon: check_prices(path, component_ids=lexicon.components.keys()),
        lambda path, lexicon: load_prices(path, component_ids=lexicon.components.keys()),
    ),
    "policies": _YamlKind(
        lambda path, lexicon: check_policies(
            path, component_ids=lexicon.components.keys(), condition_ids=lexicon.conditions.keys()
        ),
        lambda path, lexicon: load_policies(
            path, component_ids=lexicon.components.keys(), condition_ids=lexicon.conditions.keys()
        ),
    ),
}


def _present(target: Path, notes: list[str], load: Callable[[Path], Entries]) -> Entries:
    """What the folder holds now; where that cannot be read, it is said and everything counts as new."""
    if not target.exists():
        notes.append(f"{target.parent} holds no {target.name} yet.")
        return {}
    try:
        return load(target)
    except DataError as error:
        notes.append(f"{target} cannot be read, so everything counts as new: {error.message}")
        return {}


def _finish(base: Outcome, data: bytes, *, before: str, today: datetime.date) -> Outcome:
    if base.errors or base.dry_run or (base.changes is not None and not base.changes.any and before):
        return base
    kept: Earlier | None = replace_file(base.target, data, before=before, today=today)
    return base.model_copy(update={"written": True, "kept": kept.path if kept is not None else None})
