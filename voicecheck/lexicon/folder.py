"""Reads the files of one term folder, and lays a shop's own folder over the shipped one."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal, Protocol, TypeVar

from voicecheck.lexicon.model import Component, Condition, MeasureTerm
from voicecheck.lexicon.parse import FILES, NEEDED, SYSTEMS, Sourced, Terms, component_file
from voicecheck.lexicon.read import read_rows
from voicecheck.records.problems import Problem

_COMPONENTS = "components"


class _HasId(Protocol):
    @property
    def id(self) -> str: ...


T = TypeVar("T", bound=_HasId)


@dataclass(frozen=True, slots=True)
class Merged:
    """The terms of both folders: by id the shop's row in place of the shipped one, the rest in order."""

    components: dict[str, Sourced[Component]]
    conditions: dict[str, Sourced[Condition]]
    measures: dict[str, Sourced[MeasureTerm]]
    layers: tuple[Terms, ...]
    component_ids: frozenset[str] = field(default=frozenset())
    incomplete: bool = False


def read_layers(base: Path, overlay: Path | None) -> tuple[Merged, list[Problem]]:
    """Both folders merged, and every fault of files, rows and ids."""
    terms, problems = _read_folder(base, full=True)
    layers = [terms]
    if overlay is not None:
        more, faults = _read_folder(overlay, full=False)
        layers.append(more)
        problems += faults
    merged = Merged(
        components=_by_id((layer.components for layer in layers), problems, what="component"),
        conditions=_by_id((layer.conditions for layer in layers), problems, what="condition"),
        measures=_by_id((layer.measures for layer in layers), problems, what="measure"),
        layers=tuple(layers),
        component_ids=frozenset().union(*(layer.component_ids for layer in layers)),
        incomplete=any(layer.incomplete for layer in layers),
    )
    return merged, problems


def _read_folder(folder: Path, *, full: bool) -> tuple[Terms, list[Problem]]:
    """The terms of one folder. ``full`` folders must have every needed file, others any of them."""
    terms = Terms()
    problems: list[Problem] = []
    shown = folder.name or str(folder)

    def note(file: str, message: str, severity: Literal["error", "warning"] = "error") -> None:
        problems.append(Problem(file=file, row=None, field="", message=message, severity=severity))

    if not folder.is_dir():
        note(str(folder), "is not a folder" if folder.exists() else "there is no such folder")
        terms.incomplete = True
        return terms, problems

    usable = 0
    for path in sorted(folder.iterdir()):
        if path.name in FILES:
            usable += 1
            rows, faults = read_rows(path, shown=f"{shown}/{path.name}", columns=FILES[path.name].columns)
            problems += faults
            FILES[path.name].take(rows, terms, problems)
        elif path.name == _COMPONENTS and path.is_dir():
            usable += _read_components(path, f"{shown}/{_COMPONENTS}", terms, problems)
        elif not _beside_the_point(path):
            hint = f"component files belong in {_COMPONENTS}/" if path.stem in SYSTEMS else _expected()
            note(f"{shown}/{path.name}", f"is not a term file and is not read; {hint}", "warning")

    if full:
        for name in NEEDED:
            if not (folder / name).exists():
                note(f"{shown}/{name}", "the file is missing")
        if not any((folder / _COMPONENTS / f"{system}.csv").exists() for system in SYSTEMS):
            note(f"{shown}/{_COMPONENTS}", "there is no component file; at least one of SYSTEM.csv is needed")
            terms.incomplete = True
    elif not usable:
        note(str(folder), f"holds no term file; {_expected()}")
    return terms, problems


def _read_components(folder: Path, shown: str, terms: Terms, problems: list[Problem]) -> int:
    """Reads ``components/``; the number of files that are term files by name."""
    usable = 0
    for path in sorted(folder.iterdir()):
        file = f"{shown}/{path.name}"
        if path.suffix == ".csv" and path.stem in SYSTEMS:
            usable += 1
            kind = component_file(path.stem)
            rows, faults = read_rows(path, shown=file, columns=kind.columns)
            problems += faults
            terms.incomplete |= bool(faults)
            terms.component_ids.update(row.one("id") for row in rows)
            kind.take(rows, terms, problems)
        elif path.suffix == ".csv":
            message = f"“{path.stem}” is not a system; allowed are {', '.join(SYSTEMS)}"
            problems.append(Problem(file=file, row=None, field="", message=message))
            terms.incomplete = True
        elif not _beside_the_point(path):
            message = "is not a term file and is not read; save the sheet as SYSTEM.csv"
            problems.append(Problem(file=file, row=None, field="", message=message, severity="warning"))
    return usable


def _beside_the_point(path: Path) -> bool:
    return (
        path.name.startswith((".", "~")) or path.suffix.lower() in (".md", ".txt") or path.name == "LICENSE"
    )


def _expected() -> str:
    return f"known are {_COMPONENTS}/SYSTEM.csv, {', '.join(FILES)}"


def _by_id(
    layers: Iterable[Iterable[Sourced[T]]], problems: list[Problem], *, what: str
) -> dict[str, Sourced[T]]:
    merged: dict[str, Sourced[T]] = {}
    for layer in layers:
        own: dict[str, Sourced[T]] = {}
        for item in layer:
            first = own.setdefault(item.term.id, item)
            if first is not item:
                where = f"{first.row.file}:{first.row.number}"
                problems.append(item.row.problem("id", f"the {what} “{item.term.id}” is already at {where}"))
        merged.update(own)
    return merged
