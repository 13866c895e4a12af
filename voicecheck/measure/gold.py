"""Gold labels: what a fair reader takes from a narration, read from ``NAME.gold.yaml`` and checked.

A narration is ``NAME.txt``, ``NAME.gold.yaml`` and any number of recordings ``NAME.VOICE.opus`` in one
folder.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

import yaml
from pydantic import Field, ValidationError

from voicecheck.lexicon import normalise_phrase
from voicecheck.records import (
    UNPRICED_ACTIONS,
    Action,
    Bound,
    DataError,
    InputError,
    Market,
    Position,
    Problem,
    Record,
    State,
    Unit,
    Urgency,
    expand,
)

SUFFIX = ".gold.yaml"
LONGEST_FILE = 2_000_000  # bytes; a longer one is another kind of file


class GoldMeasure(Record):
    """A reading that was said. ``position``, ``bound``, ``high`` and ``place`` count only where they are
    given.
    """

    what: str = Field(min_length=1)
    value: Decimal
    unit: Unit
    position: Position | None = None
    bound: Bound | None = None
    high: Decimal | None = None
    place: str = ""


class GoldFinding(Record):
    """One component whose state was stated; any one of ``conditions`` is accepted."""

    id: str = Field(min_length=1)
    component: str = Field(min_length=1)
    also: tuple[str, ...] = ()
    positions: tuple[Position, ...]
    place: tuple[str, ...] = ()
    state: State
    conditions: tuple[str, ...]
    measures: tuple[GoldMeasure, ...]
    action: Action
    action_positions: tuple[Position, ...] = ()
    urgency: Urgency
    quote: str = Field(min_length=1)
    tags: tuple[str, ...] = ()  # the phenomena of speech it takes to get this one right
    done_with: str | None = Field(default=None, alias="with")
    comment: str = ""

    @property
    def names(self) -> tuple[str, ...]:
        """Every name that is accepted for the component."""
        return (self.component, *self.also)


class GoldLine(Record):
    """A line that belongs on the draft; ``quantity`` counts parts, or axle sets of pads and shoes."""

    operation: Action
    component: str = Field(min_length=1)
    also: tuple[str, ...] = ()
    positions: tuple[Position, ...]
    quantity: int = Field(ge=1)
    findings: tuple[str, ...] = Field(alias="from", min_length=1)


class GoldNotLine(Record):
    """Something mentioned that must not become a priced line."""

    component: str = Field(min_length=1)
    why: str = Field(min_length=1)


class Gold(Record):
    """The label of one narration."""

    name: str = Field(min_length=1)
    market: Market
    style: str = ""
    findings: tuple[GoldFinding, ...]
    lines: tuple[GoldLine, ...]
    not_lines: tuple[GoldNotLine, ...] = ()


@dataclass(frozen=True, slots=True)
class Narration:
    """A text with its label and recordings. ``recordings`` are (voice, path), in the order of the voices'
    names.
    """

    name: str
    text: str
    gold: Gold
    recordings: tuple[tuple[str, Path], ...]


def load_gold(path: Path, *, text: str | None = None) -> Gold:
    """The label in ``path``; with ``text`` its quotes are looked up there.

    Raises ``DataError`` with all problems if there is any error.
    """
    gold, problems = read_gold(path, text=text)
    errors = [p for p in problems if p.severity == "error"]
    if errors or gold is None:
        raise _refused(path.name, problems)
    return gold


def load_narrations(folder: Path) -> tuple[Narration, ...]:
    """All narrations of a folder, by name.

    Raises ``InputError`` where there are none, ``DataError`` with the problems of all labels: a label
    without a text and a text without a label are errors too, so that nothing is left out of a score in
    silence.
    """
    if not folder.is_dir():
        raise InputError(f"{folder} is not a folder.", hint="Give a folder with NAME.txt and NAME.gold.yaml.")
    labels = {p.name.removesuffix(SUFFIX): p for p in folder.glob(f"*{SUFFIX}")}
    texts = {p.stem: p for p in folder.glob("*.txt")}
    if not labels:
        raise InputError(
            f"There are no labels in {folder}.", hint=f"A narration is NAME.txt with NAME{SUFFIX} beside it."
        )
    problems: list[Problem] = []
    found: list[Narration] = []
    for name in sorted(labels.keys() | texts.keys()):
        if name not in labels:
            problems.append(_problem(texts[name].name, f"there is no label {name}{SUFFIX} beside it"))
            continue
        if name not in texts:
            problems.append(_problem(labels[name].name, f"there is no text {name}.txt beside it"))
            continue
        text, unreadable = _read_text(texts[name])
        problems += unreadable
        gold, faults = read_gold(labels[name], text=text)
        problems += faults
        if gold is not None and text is not None:
            found.append(Narration(name, text, gold, _recordings(folder, name)))
    if any(p.severity == "error" for p in problems):
        raise _refused(folder.name, problems)
    return tuple(found)


def read_gold(path: Path, *, text: str | None = None) -> tuple[Gold | None, tuple[Problem, ...]]:
    """The label in ``path`` (``None`` if its form is wrong) and all problems, with file, row and field."""
    raw, faults = _read_text(path)
    if raw is None:
        return None, tuple(faults)
    try:
        top = yaml.load(raw, Loader=_Loader)
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        what = " ".join(str(p) for p in (error.context, error.problem) if p)
        return None, (
            _problem(path.name, f"not readable as YAML: {what}", row=mark.line + 1 if mark else None),
        )
    except (yaml.YAMLError, RecursionError) as error:
        return None, (_problem(path.name, f"not readable as YAML: {error}"),)
    if not isinstance(top, _Mapping):
        return None, (_problem(path.name, "the file must be a list of “key: value” lines"),)
    problems = list(_form_faults(path.name, top))
    if problems:
        return None, tuple(problems)
    gold = Gold.model_validate(top)
    rows = _Rows(top)
    problems += _meaning_faults(path.name, gold, rows, text)
    return gold, tuple(problems)


def quote_range(words: Sequence[str], quote: str) -> tuple[int, int] | None:
    """Where a label's quote stands among the words, by their letters and figures; ``None`` if it does not."""
    plain = ["".join(normalise_phrase(word)) for word in words]
    wanted = [word for word in ("".join(normalise_phrase(word)) for word in quote.split()) if word]
    for first in range(len(plain) - len(wanted) + 1):
        if wanted and plain[first : first + len(wanted)] == wanted:
            return first, first + len(wanted)
    return None


def _refused(where: str, problems: Sequence[Problem]) -> DataError:
    errors = [p for p in problems if p.severity == "error"]
    more = f" and {len(errors) - 1} more" if len(errors) > 1 else ""
    return DataError(f"The labels in {where} cannot be used: {errors[0]}{more}.", problems=problems)


def _recordings(folder: Path, name: str) -> tuple[tuple[str, Path], ...]:
    found = []
    for path in folder.glob("*.opus"):
        stem, dot, voice = path.stem.rpartition(".")
        if dot and stem == name:
            found.append((voice, path))
    return tuple(sorted(found))


def _read_text(path: Path) -> tuple[str | None, list[Problem]]:
    try:
        data = path.read_bytes()
    except OSError as error:
        return None, [_problem(path.name, f"cannot be read: {error.strerror}")]
    if len(data) > LONGEST_FILE:
        return None, [_problem(path.name, f"has {len(data)} bytes; at most {LONGEST_FILE} are read")]
    try:
        return data.decode("utf-8-sig"), []
    except UnicodeDecodeError as error:
        return None, [_problem(path.name, f"is not UTF-8 text (byte {error.start})")]


def _problem(file: str, message: str, *, row: int | None = None, field: str = "") -> Problem:
    return Problem(file=file, row=row, field=field, message=message)


# -- YAML


class _Mapping(dict[str, Any]):
    """A mapping that knows its row."""

    row: int = 0


class _Loader(yaml.BaseLoader):
    """Keeps every value as it is written: 25.10 is not rounded, and "no" stays a word."""


def _mapping(loader: _Loader, node: yaml.MappingNode) -> Iterator[_Mapping]:
    found = _Mapping()
    found.row = node.start_mark.line + 1
    yield found
    for key_node, value_node in node.value:
        key = loader.construct_object(key_node, deep=True)
        if not isinstance(key, str):
            raise yaml.MarkedYAMLError(None, None, "a key must be a plain word", key_node.start_mark)
        if key in found:
            raise yaml.MarkedYAMLError(None, None, f"“{key}” is set twice", key_node.start_mark)
        found[key] = loader.construct_object(value_node, deep=True)


_Loader.add_constructor("tag:yaml.org,2002:map", _mapping)


# -- form

_LISTS: dict[str, type[Record]] = {"findings": GoldFinding, "lines": GoldLine, "not_lines": GoldNotLine}
_NEEDED_LISTS = ("findings", "lines")


def _form_faults(file: str, top: _Mapping) -> Iterator[Problem]:
    """What does not fit the models, entry by entry, so that every fault has the row of its entry."""
    head = {key: value for key, value in top.items() if key not in _LISTS}
    bare = {**head, "findings": (), "lines": ()}
    yield from _validated(file, Gold, bare, row=1, where="")
    for key, model in _LISTS.items():
        if key not in top:
            if key in _NEEDED_LISTS:
                yield _problem(file, "is missing; “[]” says that there are none", field=key)
            continue
        entries = top[key]
        if entries == "":  # a key with nothing after it
            entries = top[key] = []
        if not isinstance(entries, list):
            yield _problem(file, "must be a list", field=key)
            continue
        for number, entry in enumerate(entries, start=1):
            where = f"{key}[{number}]"
            if not isinstance(entry, _Mapping):
                yield _problem(file, "must be “key: value” pairs", field=where)
                continue
            if key != "not_lines" and isinstance(entry.get("id"), str) and entry["id"]:
                where = f"{key}[{entry['id']}]"
            yield from _validated(file, model, entry, row=entry.row, where=where)


def _validated(
    file: str, model: type[Record], value: dict[str, Any], *, row: int, where: str
) -> Iterator[Problem]:
    try:
        model.model_validate(value)
    except ValidationError as error:
        for fault in error.errors(include_url=False):
            steps = [f"[{step + 1}]" if isinstance(step, int) else f".{step}" for step in fault["loc"]]
            field = f"{where}{''.join(steps)}".lstrip(".")
            yield _problem(file, _plain(fault, model), row=row, field=field)


def _plain(fault: Any, model: type[Record]) -> str:
    """pydantic's fault in the words of a label's author."""
    kind, given = fault["type"], fault.get("input")
    if kind == "missing":
        return "is missing"
    if kind == "extra_forbidden":
        owner = GoldMeasure if fault["loc"][0] == "measures" else model
        allowed = [str(f.alias or name) for name, f in owner.model_fields.items()]
        return f"unknown key; allowed: {', '.join(allowed)}"
    if kind == "literal_error":
        return f"“{given}” is not one of {fault['ctx']['expected'].replace(chr(39), '')}"
    if kind in ("tuple_type", "list_type"):
        return f"“{given}” is not a list; write [{given}]"
    if kind in ("string_too_short", "too_short"):
        return "is empty"
    return f"“{given}”: {fault['msg'][0].lower()}{fault['msg'][1:]}"


# -- meaning


class _Rows:
    """Rows of the entries of the lists."""

    def __init__(self, top: _Mapping) -> None:
        self.of = {key: [entry.row for entry in top.get(key, ())] for key in _LISTS}


def _meaning_faults(file: str, gold: Gold, rows: _Rows, text: str | None) -> Iterator[Problem]:
    """What fits the form and cannot be right."""
    stem = file.removesuffix(SUFFIX)
    if file.endswith(SUFFIX) and gold.name != stem:
        yield _problem(file, f"“{gold.name}”, but the file is {stem}{SUFFIX}", field="name")
    ids = Counter(finding.id for finding in gold.findings)
    for row, finding in zip(rows.of["findings"], gold.findings, strict=True):
        where = f"findings[{finding.id}]"

        def fault(field: str, message: str, *, row: int = row, where: str = where) -> Problem:
            return _problem(file, message, row=row, field=f"{where}.{field}")

        if ids[finding.id] > 1:
            yield fault("id", f"“{finding.id}” is used {ids[finding.id]} times")
        if finding.state == "ok" and finding.conditions:
            yield fault("conditions", "must be [] for what is ok")
        if finding.done_with is not None and (
            finding.done_with not in ids or finding.done_with == finding.id
        ):
            yield fault("with", f"“{finding.done_with}” is not another finding")
        for field, positions in (
            ("positions", finding.positions),
            ("action_positions", finding.action_positions),
        ):
            if _covers_itself(positions):
                yield fault(field, "one position covers another")
        if finding.action_positions and not expand(finding.positions) < expand(finding.action_positions):
            yield fault("action_positions", "must cover more than positions")
        if text is not None and _words(finding.quote) not in _words(text):
            yield fault("quote", "is not in the text word for word")
    by_id = {finding.id: finding for finding in gold.findings}
    for number, (row, line) in enumerate(zip(rows.of["lines"], gold.lines, strict=True), start=1):
        where = f"lines[{number}]"
        if line.operation in UNPRICED_ACTIONS:
            yield _problem(file, f"“{line.operation}” makes no line", row=row, field=f"{where}.operation")
        if _covers_itself(line.positions):
            yield _problem(file, "one position covers another", row=row, field=f"{where}.positions")
        for source in line.findings:
            if source not in by_id:
                yield _problem(file, f"there is no finding “{source}”", row=row, field=f"{where}.from")
        known = [by_id[s] for s in line.findings if s in by_id]
        if known and not any(f.action == line.operation for f in known):
            yield _problem(
                file, f"none of these findings says “{line.operation}”", row=row, field=f"{where}.from"
            )
    used = {source for line in gold.lines for source in line.findings}
    for row, finding in zip(rows.of["findings"], gold.findings, strict=True):
        if finding.action not in UNPRICED_ACTIONS and finding.id not in used:
            yield _problem(
                file, f"“{finding.action}” is in no line", row=row, field=f"findings[{finding.id}].action"
            )


def _covers_itself(positions: Iterable[Position]) -> bool:
    listed = list(positions)
    return sum(len(expand([p])) for p in listed) > len(expand(listed))


def _words(text: str) -> str:
    """The text with every run of white space as one space: a quote may go over a line's end."""
    return re.sub(r"\s+", " ", text).strip()
