"""An explanation for a terminal of 60 columns or more, clause by clause and then finding by finding."""

from __future__ import annotations

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from voicecheck.documents import explained, plain
from voicecheck.records.explanation import Change, ClauseSeen, Explanation, FindingSeen, Joined

_IN = 4  # columns


def explanation_table(explanation: Explanation) -> RenderableType:
    """What to print. Text of a recording goes in as ``Text``: its square brackets are no styling."""
    rules = Table(box=None, pad_edge=False, show_header=False)
    rules.add_column(overflow="fold", max_width=34)
    rules.add_column(overflow="fold", ratio=1)
    for rule in explanation.rules:
        rules.add_row(_text(f"{rule.name}\n{rule.file}"), _text(rule.says))
    return Group(
        _text(f"{explanation.recording.name}: {plain.counted(len(explanation.clauses), 'clause')}, "
              f"{plain.counted(len(explanation.findings), 'finding')}", "bold"),
        *(_clause(clause) for clause in explanation.clauses),
        _heading("Findings"),
        *(_finding(finding) for finding in explanation.findings),
        _heading("Rules that were at work"),
        rules,
    )  # fmt: skip


def _text(text: str, style: str = "") -> Text:
    return Text(plain.visible(text), style=style)


def _heading(text: str) -> Text:
    return Text.assemble("\n", (text, "bold underline"))


def _in(block: RenderableType, level: int = 1) -> Padding:
    return Padding(block, (0, 0, 0, level * _IN))


def _clause(clause: ClauseSeen) -> RenderableType:
    where = f"  {explained.stamp(clause)}, {explained.OPENED[clause.opened_by]}"
    blocks: list[RenderableType] = [
        Text.assemble("\n", (f"{clause.number}", "bold"), (where, "dim")),
        _in(_text(f"“{clause.words}”", "bold")),
    ]
    marks = explained.telling_marks(clause)
    if marks:
        table = Table(box=None, pad_edge=False, show_header=False)
        for ratio in (3, 2, 4, 4):
            table.add_column(overflow="fold", ratio=ratio)
        for mark in marks:
            meaning = mark.name + (f", {mark.by}" if mark.by else "")
            kind = mark.kind if mark.kind != "cue" else ""
            table.add_row(_text(f"“{mark.words}”"), _text(kind), _text(meaning), _text(mark.row, "dim"))
        blocks.append(_in(table))
    if small := explained.small_words(clause):
        blocks.append(_in(_text(f"small words: {small}", "dim")))
    blocks += [_in(_text(f"cut into {item}")) for item in clause.items]
    if mood := explained.mood_text(clause):
        blocks.append(_in(_text(f"⇒ {mood}", "bold")))
    for outcome in clause.outcomes:
        if clause.mood != "said" and outcome.kind == "talk":
            continue  # said already, with the words it rests on
        rule = f"  [{outcome.rule}]" if outcome.rule and not outcome.changes else ""
        blocks.append(
            _in(Text.assemble(_text(f"⇒ {explained.outcome_text(outcome)}", "bold"), _text(rule, "dim")))
        )
        blocks += [_in(_change(change, clause=False), 2) for change in outcome.changes]
    return Group(*blocks)


def _change(change: Change, *, clause: bool) -> Text:
    told = explained.change_text(change)
    parts = [
        _text(f"{explained.when(change)}: " if clause else f"{explained.field_name(change.field)}: ", "dim")
    ]
    parts.append(_text(told))
    if change.words:
        parts.append(_text(f"  from {change.words}"))
    parts.append(_text(f"  [{change.rule}]", "dim"))
    return Text.assemble(*parts)


def _finding(finding: FindingSeen) -> RenderableType:
    title = f"{finding.id} {plain.capital(finding.title)}"
    blocks: list[RenderableType] = [
        Text.assemble(
            "\n", _text(title, "bold"), _text(f"  {explained.clauses_text(finding.clauses)}", "dim")
        )
    ]
    for field in finding.fields:
        sure = "" if field.certainty is None else f"  (certainty {field.certainty:.2f})"
        name = f"{explained.field_name(field.field)}: "
        blocks.append(
            _in(Text.assemble((name, "dim"), _text(field.value or "not set", "bold"), _text(sure, "dim")))
        )
        blocks += [_in(_change(change, clause=True), 2) for change in field.changes]
    blocks += [_in(_text(_joined(joined))) for joined in finding.joined]
    blocks += [_in(_text(f"on the draft: {line}")) for line in finding.lines]
    blocks += [_in(_text(f"asks ({ask.code}): {ask.message}")) for ask in finding.asks]
    return Group(*blocks)


def _joined(joined: Joined) -> str:
    how = "merged with" if joined.how == "merged" else "stands in the place of"
    at = "at the end" if joined.clause is None else f"clause {joined.clause}"
    return f"{how} statement {joined.statement}, {joined.title} ({at}) [{joined.rule}]"
