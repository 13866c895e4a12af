"""A mapping file to start from: headings guessed by their words, each guess marked as one."""

from __future__ import annotations

import csv
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from voicecheck.bring.cells import Row, alike, letter
from voicecheck.bring.mapping import FORMAT, Kind, TableSpec
from voicecheck.bring.names import ComponentNames, UnknownName
from voicecheck.bring.operations import FIELDS
from voicecheck.bring.source import HEADINGS_WITHIN, Table, open_table
from voicecheck.catalogue.operations import REQUIRED
from voicecheck.lexicon import Lexicon, normalise_phrase
from voicecheck.records import ACTIONS, UNPRICED_ACTIONS, InputError

HEADINGS_FILE = Path(__file__).parent / "headings.csv"
ROWS_LOOKED_AT = 2_000
WORDS_LISTED = 60  # different words of a column, each with a guess or a gap to fill in
PER = ("each", "axle", "side", "vehicle")


@dataclass(frozen=True)
class _Headings:
    """The row that looks most like headings, and the rows below it that were looked at."""

    row: Row
    rows: Sequence[Row]

    def words(self, column: int) -> list[str]:
        """The different texts of a column, in the order in which they come."""
        return list(dict.fromkeys(r.cells[column].text for r in self.rows if column in r.cells))


def sketch(file: Path, *, kind: Kind, lexicon: Lexicon, sheet: str = "") -> str:
    """A mapping file for ``file``, as text. Raises ``InputError`` for a file that cannot be used.

    What is guessed carries the comment "a guess"; what was not found stands there commented out.
    """
    guesses = _guesses()
    said = [name for (of, _), names in guesses.items() for name in names if of in (kind, "part", "named")]
    table = open_table(file, TableSpec(sheet=sheet), headings=said)
    found = _headings(table, {alike(s) for s in said})
    lines = list(_head(table, found, kind, sheet))
    body = _catalogue(found, guesses, lexicon) if kind == "catalogue" else _settings(found, guesses, kind)
    return "\n".join([*lines, *body]) + "\n"


def _guesses() -> dict[tuple[str, str], tuple[str, ...]]:
    """The usual headings of each field, from the data file."""
    with HEADINGS_FILE.open(encoding="utf-8", newline="") as file:
        return {(row["kind"], row["field"]): tuple(row["said"].split("|")) for row in csv.DictReader(file)}


def _headings(table: Table, said: set[str]) -> _Headings:
    rows = []
    for row in table.read():
        if row.broken:
            raise InputError(f"{table.path}, row {row.number}: {row.broken}.")
        rows.append(row)
        if len(rows) >= ROWS_LOOKED_AT:
            break
    if not rows:
        raise InputError(f"{table.path} has no rows.")
    top = [r for r in rows if r.number <= HEADINGS_WITHIN] or rows[:1]

    def rank(row: Row) -> tuple[int, int]:
        texts = [c.text for c in row.cells.values() if c.kind == "text"]
        return sum(alike(t) in said for t in texts), len(texts)

    best = max(top, key=rank)  # the first of equals
    return _Headings(best, [r for r in rows if r.number > best.number])


def _head(table: Table, found: _Headings, kind: Kind, sheet: str) -> Iterator[str]:
    yield f"# A mapping file to start from, made from {table.path.name}. Look at every line with “a guess”:"
    yield "# it was made from the words of the headings alone. What each key means: docs/bringing_data.md."
    yield from (f"# {note}" for note in table.notes)
    yield f"format: {FORMAT}"
    yield f"for: {kind}"
    yield ""
    yield "table:"
    if sheet:
        yield f"  sheet: {_quoted(sheet)}"
    yield f"  header_row: {found.row.number}  # a guess"
    yield ""
    yield "numbers:"
    decimal, why = _decimal(found)
    yield f'  decimal: "{decimal}"  # a guess{why}'
    yield f'  thousands: "{"." if decimal == "," else ","}"  # a guess'
    yield '  currency: ["$", "£", "€"]'
    yield ""


def _decimal(found: _Headings) -> tuple[str, str]:
    """The decimal sign that more texts end in (a comma or point and one or two digits)."""
    votes = {",": 0, ".": 0}
    for row in found.rows:
        for cell in row.cells.values():
            for sign in votes:
                head, _, tail = cell.text.rpartition(sign)
                if cell.kind == "text" and head[-1:].isdigit() and tail.isdigit() and len(tail) <= 2:
                    votes[sign] += 1
    if not any(votes.values()):
        return ".", ": no text has decimals"
    return (",", "") if votes[","] > votes["."] else (".", "")


def _catalogue(
    found: _Headings, guesses: dict[tuple[str, str], tuple[str, ...]], lexicon: Lexicon
) -> Iterator[str]:
    taken: dict[int, str] = {}
    columns = {
        name: c
        for name in FIELDS
        if (c := _column(found, guesses.get(("catalogue", name), ()), taken, name)) is not None
    }
    yield "columns:"
    for name in FIELDS:
        if name not in columns:
            if name == "system":
                yield "  # system: left out, it follows from the component"
            elif name in REQUIRED:
                yield f"  {name}: ???  # needed: the heading of your column, or {{ constant: … }}"
            else:
                yield f"  # {name}:"
            continue
        yield from _column_lines(name, columns[name], found, lexicon)
    part = {
        name: c
        for name in ("name", "quantity", "unit", "price")
        if (c := _column(found, guesses.get(("part", name), ()), taken, name)) is not None
    }
    if part:
        yield ""
        yield "parts:  # one entry for each part or fluid that a row names"
        dash = "-"
        if "name" not in part:
            yield "  - name: ???  # needed: the column with the part's name"
            dash = " "
        for name, column in part.items():
            yield f"  {dash} {name}: {_reference(found, column)}  # a guess"
            dash = " "
    left = [c for c in sorted(found.row.cells) if c not in taken]
    if left:
        yield ""
        yield f"# Not used: {', '.join(found.row.cells[c].text for c in left)}."


def _column(found: _Headings, names: Sequence[str], taken: dict[int, str], field: str) -> int | None:
    """The first column that has one of the usual headings, the more usual ones first."""
    for name in names:
        for column, cell in sorted(found.row.cells.items()):
            if column not in taken and " ".join(normalise_phrase(cell.text)) == name:
                taken[column] = field
                return column
    return None


def _column_lines(name: str, column: int, found: _Headings, lexicon: Lexicon) -> Iterator[str]:
    heading = _reference(found, column)
    words = found.words(column)
    unit = "minutes" if "min" in alike(found.row.cells[column].text) and name == "hours" else ""
    if any(c.kind == "time" for r in found.rows if (c := r.cells.get(column)) is not None):
        unit = "clock"
    if name == "hours" and unit:
        yield f"  {name}: {{ column: {heading}, unit: {unit}, round: up }}  # a guess"
        return
    if name not in ("action", "component", "per", "sublet", "system") or len(words) > WORDS_LISTED:
        yield f"  {name}: {heading}  # a guess"
        return
    known = ComponentNames(lexicon.components)
    pairs = [(w, _word(name, w, known, lexicon)) for w in words]
    if all(ours == w for w, ours in pairs):
        yield f"  {name}: {heading}  # a guess"
        return
    yield f"  {name}:  # a guess"
    yield f"    column: {heading}"
    yield "    values:  # your word: ours"
    for word, ours in pairs:
        if ours == word:
            continue
        yield f"      {_quoted(word)}: {ours}  # a guess" if ours else f"      # {_quoted(word)}: ???"


def _word(name: str, word: str, known: ComponentNames, lexicon: Lexicon) -> str:
    """Our word for one of theirs, as far as it can be guessed; "" where not."""
    if name == "component":
        try:
            return known.find(word)
        except UnknownName:
            return ""
    if name == "per":
        return next((p for p in PER if p in normalise_phrase(word)), "")
    if name == "sublet":
        return {"y": "yes", "yes": "yes", "x": "yes", "n": "no", "no": "no"}.get(alike(word), "")
    if name == "action":
        if alike(word) in ACTIONS:
            return alike(word)
        plain = " ".join(normalise_phrase(word))
        for term in lexicon.actions:
            if term.action not in UNPRICED_ACTIONS and plain in {
                " ".join(normalise_phrase(s)) for s in term.said
            }:
                return term.action
    return ""


def _settings(found: _Headings, guesses: dict[tuple[str, str], tuple[str, ...]], kind: Kind) -> Iterator[str]:
    taken: dict[int, str] = {}
    key = _column(found, guesses[("named", "key")], taken, "key")
    value = _column(found, guesses[("named", "value")], taken, "value")
    columns = sorted(found.row.cells)
    key = key if key is not None else columns[0]
    value = value if value is not None else columns[-1]
    yield "constants:"
    yield "  # what the table does not say, for instance (prices):"
    yield "  # name: our prices"
    yield "  # market: US"
    yield "  # currency: USD"
    yield ""
    yield "values:  # a table with one setting in each row"
    yield f"  key: {_reference(found, key)}  # a guess"
    yield f"  value: {_reference(found, value)}  # a guess"
    yield f"  keys:  # your word: our field of {kind}"
    for word in found.words(key)[:WORDS_LISTED]:
        yield f"    # {_quoted(word)}: ???"
    yield ""
    yield "# lists:  # tables that become lists, such as markup: see docs/bringing_data.md"


def _reference(found: _Headings, column: int) -> str:
    """How a mapping names a column: by its heading, by its letter where the heading is there twice."""
    text = found.row.cells[column].text
    if sum(alike(c.text) == alike(text) for c in found.row.cells.values()) > 1:
        return f"{{ letter: {letter(column)} }}"
    return _quoted(text)


def _quoted(text: str) -> str:
    """A text for YAML: bare where that is safe, else in quotes (which JSON and YAML share)."""
    bare = text.replace(" ", "").replace("_", "").replace("-", "")
    safe = bare.isalnum() and bare.isascii() and not text.startswith("-") and not bare[0].isdigit()
    return (
        text
        if safe and alike(text) not in ("null", "true", "false", "yes", "no")
        else json.dumps(text, ensure_ascii=False)
    )
