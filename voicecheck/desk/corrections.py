"""What the shop's term files can learn from decisions, and what would change if they did."""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Literal

from voicecheck.desk import decisions as d
from voicecheck.desk.asks import ask_key
from voicecheck.desk.worktop import Numbered, active_decisions
from voicecheck.estimate.texts import coin, name_of
from voicecheck.lexicon.model import UNSOUGHT, Component, Condition, Lexicon
from voicecheck.lexicon.normal import normalise_phrase
from voicecheck.records import Draft, Finding, InputError, Line, Record, Word
from voicecheck.records.wording import joined

Kind = Literal["name", "sound", "fit", "condition"]

UNSURE_WORD = 0.6  # words recognised with less are taken as misheard
MOST_WORDS = 5  # of a name that is learned; more is a sentence

COMPONENT_HEADER = (
    "id", "name", "us", "uk", "kind_of", "part_of", "places", "place", "sets", "advice", "sounds_like",
    "notes",
)  # fmt: skip
CONDITION_HEADER = ("id", "name", "said", "fits", "state", "severity", "symptom", "notes")


class Suggestion(Record):
    """Something to learn.

    "name": ``words`` are another name of ``component``. "sound": they are how it is misheard. "fit": it can
    have ``condition``. "condition": ``words`` are another way to say ``condition``. An empty ``component``
    (or ``condition``) is for the owner to name. ``sentence`` is what was said around it, from ``start`` to
    ``end`` seconds of ``take`` (``None`` for typed words or where not known). ``clash`` says why it cannot be
    adopted as it is.
    """

    kind: Kind
    component: str = ""
    condition: str = ""
    words: str = ""
    sentence: str = ""
    take: int | None = None
    start: float | None = None
    end: float | None = None
    clash: str = ""

    @property
    def key(self) -> str:
        """Equal for equal suggestions, whatever sentence they come from."""
        return "/".join((self.kind, self.component, self.condition, self.words))


def suggestions(
    base: Draft, decisions: Sequence[Numbered], lexicon: Lexicon, *, take: int | None = None
) -> tuple[Suggestion, ...]:
    """What the decisions over a draft suggest, each once, in their order. Decisions taken back do not count.

    ``take`` is the number of the recording, where the draft has only one.
    """
    found: dict[str, Suggestion] = {}
    findings = {f.id: f for f in base.findings}
    for item in active_decisions(decisions):
        decision = item.decision
        made: list[Suggestion] = []
        if isinstance(decision, d.ChangeFinding):
            made = _of_change(decision, findings, base, lexicon)
        elif isinstance(decision, (d.PlaceWords, d.SettleUnplaced)):
            made = _of_words(decision, findings, base, lexicon)
        elif isinstance(decision, d.Say) and not decision.findings:
            made = [Suggestion(kind="name", words=_plain(decision.text), sentence=decision.text)]
        elif isinstance(decision, d.Answer):
            made = _of_answer(decision, base, lexicon)
        for suggestion in made:
            checked = suggestion.model_copy(update={"clash": clash(suggestion, lexicon)})
            if checked.take is None and checked.start is not None:
                checked = checked.model_copy(update={"take": take})
            found.setdefault(checked.key, checked)
    return tuple(found.values())


def clash(suggestion: Suggestion, lexicon: Lexicon) -> str:
    """Why a suggestion cannot go into the term files as it is, in one sentence; "" where it can."""
    if suggestion.kind in ("name", "sound"):
        if suggestion.component not in lexicon.components:
            return "Name the part that is meant."
        words = normalise_phrase(suggestion.words)
        if not words or len(words) > MOST_WORDS:
            return (
                f"“{suggestion.words}” is no name: leave the {MOST_WORDS} words or fewer that name the part."
            )
    if suggestion.kind == "name":
        owner = _owner(suggestion.words, lexicon)
        if owner is not None and owner.id != suggestion.component:
            return f"“{suggestion.words}” is a name of {owner.name} already."
    if suggestion.kind in ("fit", "condition") and suggestion.condition not in lexicon.conditions:
        return "Name the condition that is meant."
    if suggestion.kind == "fit" and suggestion.component not in lexicon.components:
        return "Name the part that is meant."
    if suggestion.kind == "condition":
        if not normalise_phrase(suggestion.words):
            return "Give the words that say it."
        for other in lexicon.conditions.values():
            if other.id != suggestion.condition and _says(other, suggestion.words):
                return f"“{suggestion.words}” says {other.name} already."
    return ""


def as_term_rows(suggestions_: Sequence[Suggestion], lexicon: Lexicon) -> dict[str, str]:
    """The files of the shop's own term folder that hold the suggestions: relative path to CSV text.

    Each row is whole (a row with a known id replaces the shipped one), made from ``lexicon``, which should
    hold the shop's files already. ``merge_files`` lays them over these.

    Raises ``InputError`` with the first suggestion that clashes.
    """
    components: dict[str, Component] = {}
    conditions: dict[str, Condition] = {}
    for suggestion in suggestions_:
        why = clash(suggestion, lexicon)
        if why:
            raise InputError(f"“{suggestion.words or suggestion.condition}” cannot be adopted: {why}")
        if suggestion.kind in ("name", "sound"):
            part = components.get(suggestion.component) or lexicon.components[suggestion.component]
            column = "sounds_like" if suggestion.kind == "sound" else lexicon.market.lower()
            names = getattr(part, column)
            words = _plain(suggestion.words)
            known = part.names if suggestion.kind == "name" else names
            if words not in {_plain(n) for n in known}:
                part = part.model_copy(update={column: (*names, words)})
            components[part.id] = part
        else:
            condition = conditions.get(suggestion.condition) or lexicon.conditions[suggestion.condition]
            if suggestion.kind == "fit" and not lexicon.fits(condition.fits, suggestion.component):
                condition = condition.model_copy(update={"fits": (*condition.fits, suggestion.component)})
            elif suggestion.kind == "condition" and not _says(condition, suggestion.words):
                condition = condition.model_copy(update={"said": (*condition.said, _plain(suggestion.words))})
            conditions[condition.id] = condition
    files: dict[str, str] = {}
    for system in sorted({c.system for c in components.values()}):
        rows = [_component_row(c) for c in components.values() if c.system == system]
        files[f"components/{system}.csv"] = _csv(COMPONENT_HEADER, rows)
    if conditions:
        files["conditions.csv"] = _csv(CONDITION_HEADER, [_condition_row(c) for c in conditions.values()])
    return files


def merge_files(own: Mapping[str, str], new: Mapping[str, str]) -> dict[str, str]:
    """The shop's files with ``new`` rows in them: by id in the place of the old row, else at the end.

    Columns that only the old file has are kept; rows that are comments too.
    """
    files = dict(own)
    for path, text in new.items():
        if path not in files:
            files[path] = text
            continue
        old_rows, new_rows = list(_read(files[path])), list(_read(text))
        header = next((r for r in old_rows if r and not r[0].lstrip().startswith("#")), list(new_rows[0]))
        columns = [*header, *(c for c in new_rows[0] if c not in header)]
        coming = {r["id"]: r for r in (dict(zip(new_rows[0], row, strict=False)) for row in new_rows[1:])}
        out: list[list[str]] = [columns]
        for row in old_rows:
            if row == header or not row:
                continue
            if row[0].lstrip().startswith("#"):
                out.append(row)
                continue
            cells = dict(zip(header, row, strict=False))
            if (fresh := coming.pop(cells.get("id", ""), None)) is not None:
                cells |= fresh
            out.append([cells.get(c, "") for c in columns])
        out += [[cells.get(c, "") for c in columns] for cells in coming.values()]
        files[path] = _csv(out[0], out[1:])
    return files


class Impact(Record):
    """What a change of the term files would do to one earlier draft; no sentences: nothing."""

    name: str
    sha256: str
    sentences: tuple[str, ...] = ()


def impact(before: Sequence[Draft], after: Sequence[Draft]) -> tuple[Impact, ...]:
    """Drafts of the same recordings made without and with the change, compared one by one.

    Findings are compared by component, places, state and action, lines by what they are and cost, words by
    whether they have a place. Raises ``ValueError`` when the drafts are not of the same recordings.
    """
    if [b.recording.sha256 for b in before] != [a.recording.sha256 for a in after]:
        raise ValueError("the drafts before and after are not of the same recordings in the same order")
    return tuple(
        Impact(name=b.recording.name, sha256=b.recording.sha256, sentences=tuple(_changes(b, a)))
        for b, a in zip(before, after, strict=True)
    )


# --- where suggestions come from


def _of_change(
    decision: d.ChangeFinding, findings: Mapping[str, Finding], base: Draft, lexicon: Lexicon
) -> list[Suggestion]:
    finding = findings.get(decision.finding)
    if not decision.words.strip():
        return []
    words = _plain(decision.words)
    where = _heard(words, finding, base)
    found = []
    part = decision.component
    if part is not None and (finding is None or finding.component.id != part):
        component = lexicon.components.get(part)
        if component is not None and not _names(component, words):
            kind: Kind = "sound" if where.misheard else "name"
            found.append(
                Suggestion(kind=kind, component=part, words=words, sentence=where.sentence,
                           start=where.start, end=where.end)
            )  # fmt: skip
    if decision.conditions is not None:
        had = {c.id for c in finding.conditions} if finding is not None else set()
        for id_ in decision.conditions:
            condition = lexicon.conditions.get(id_)
            if condition is not None and id_ not in had and part is None and not _says(condition, words):
                found.append(
                    Suggestion(kind="condition", condition=id_, words=words, sentence=where.sentence,
                               start=where.start, end=where.end)
                )  # fmt: skip
    return found


def _of_words(
    decision: d.PlaceWords | d.SettleUnplaced, findings: Mapping[str, Finding], base: Draft, lexicon: Lexicon
) -> list[Suggestion]:
    """Words without a place that were about the vehicle.

    Of a finding they say a condition that the term files do not have of such a part, or another name of it;
    where a line was added for them, the owner has to say what they name.
    """
    how = decision.how if isinstance(decision, d.SettleUnplaced) else ""
    spoken = base.transcript.words[decision.first : decision.last]
    if how == "not about the vehicle" or not spoken:
        return []
    sentence = " ".join(w.read for w in spoken if w.read)
    here = Suggestion(kind="name", sentence=sentence, start=spoken[0].start, end=spoken[-1].end)
    words = _plain(decision.words)
    finding = findings.get(decision.finding)
    if finding is None or finding.component.id not in lexicon.components:
        return [here.model_copy(update={"words": words})] if how == "added" else []
    part = lexicon.components[finding.component.id]
    found = [
        here.model_copy(
            update={"kind": "fit", "component": part.id, "condition": condition.id, "words": phrase}
        )
        for condition, phrase in _conditions_in(sentence, lexicon)
        if not lexicon.fits(condition.fits, part.id)
    ]
    if words and not _names(part, words):
        kind = "sound" if _misheard(spoken) else "name"
        found.append(here.model_copy(update={"kind": kind, "component": part.id, "words": words}))
    return found


def _of_answer(decision: d.Answer, base: Draft, lexicon: Lexicon) -> list[Suggestion]:
    """A "yes" to "is not usually said of such a part": it can be said of it."""
    if _plain(decision.choice) != "yes":
        return []
    for finding in base.findings:
        for ask in finding.asks:
            if ask.code == "condition_does_not_fit" and ask_key(finding.id, ask) == decision.key:
                span = finding.heard[0]
                return [
                    Suggestion(kind="fit", component=finding.component.id, condition=c.id,
                               words=c.name, sentence=span.read, start=span.start, end=span.end)
                    for c in finding.conditions
                    if c.id in lexicon.conditions
                    and not lexicon.fits(lexicon.conditions[c.id].fits, finding.component.id)
                ]  # fmt: skip
    return []


class _Heard(Record):
    sentence: str = ""
    start: float | None = None
    end: float | None = None
    misheard: bool = False


def _heard(words: str, finding: Finding | None, base: Draft) -> _Heard:
    """Where in the recording ``words`` were: the finding's own stretches first, then anywhere."""
    transcript = base.transcript
    plain = [(_plain(w.heard), _plain(w.read)) for w in transcript.words]
    wanted = words.split()
    spans = [(s.first, s.last) for s in finding.heard] if finding is not None else []
    for first, last in [*spans, (0, len(plain))]:
        for at in range(max(0, first), min(last, len(plain)) - len(wanted) + 1):
            part = plain[at : at + len(wanted)]
            if [h for h, _ in part] == wanted or [r for _, r in part] == wanted:
                spoken = transcript.words[at : at + len(wanted)]
                low, high = max(0, at - 8), at + len(wanted) + 8
                around = transcript.words[low:high]
                return _Heard(
                    sentence=" ".join(w.read for w in around if w.read),
                    start=spoken[0].start,
                    end=spoken[-1].end,
                    misheard=transcript.source == "speech" and _misheard(spoken),
                )
    span = finding.heard[0] if finding is not None else None
    if span is None:
        return _Heard()
    # typed by the desk, and not what was recognised: what was recognised is how it is misheard, not this
    return _Heard(sentence=span.read, start=span.start, end=span.end)


def _misheard(words: Sequence[Word]) -> bool:
    return min((w.certainty for w in words), default=1.0) < UNSURE_WORD


# --- the term files


def _names(component: Component, words: str) -> bool:
    return _plain(words) in {_plain(n) for n in component.names}


def _says(condition: Condition, words: str) -> bool:
    return _plain(words) in {_plain(s) for s in condition.said}


def _owner(words: str, lexicon: Lexicon) -> Component | None:
    return next((c for c in lexicon.components.values() if _names(c, words)), None)


def _conditions_in(sentence: str, lexicon: Lexicon) -> list[tuple[Condition, str]]:
    """The conditions that a sentence says, with the longest phrase of each that is in it."""
    plain = f" {_plain(sentence)} "
    found = []
    for condition in lexicon.conditions.values():
        phrases = [s for s in condition.said if f" {_plain(s)} " in plain]
        if phrases:
            found.append((condition, max(phrases, key=len)))
    longest = max((len(p) for _, p in found), default=0)
    return [(c, p) for c, p in found if len(p) == longest]


def _as_written(part: Component, name: str) -> str:
    return f"{UNSOUGHT}{name}" if name in part.unsought else name


def _component_row(part: Component) -> list[str]:
    advice = "" if part.advice == "replace" else part.advice
    us, uk = ("|".join(_as_written(part, name) for name in names) for names in (part.us, part.uk))
    places, place, sounds = ("|".join(c) for c in (part.places, part.place, part.sounds_like))
    kind_of, part_of = part.kind_of or "", part.part_of or ""
    return [
        part.id, _as_written(part, part.name), us, uk, kind_of, part_of, places, place, part.sets, advice,
        sounds, part.notes,
    ]  # fmt: skip


def _condition_row(condition: Condition) -> list[str]:
    severity = "" if condition.severity == "unstated" else condition.severity
    return [
        condition.id, condition.name, "|".join(condition.said), "|".join(condition.fits), condition.state,
        severity, "yes" if condition.symptom else "", condition.notes,
    ]  # fmt: skip


class _Lines:
    """Where ``csv`` writes to: it needs no file."""

    def __init__(self) -> None:
        self.text = ""

    def write(self, text: str) -> int:
        self.text += text
        return len(text)


def _csv(header: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    out = _Lines()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(header)
    writer.writerows(rows)
    return out.text


def _read(text: str) -> list[list[str]]:
    return [[cell.strip() for cell in row] for row in csv.reader(text.lstrip("\ufeff").splitlines())]


def _plain(text: str) -> str:
    return " ".join(normalise_phrase(text))


# --- impact


def _changes(before: Draft, after: Draft) -> list[str]:
    found = _finding_changes(before.findings, after.findings)
    found += _line_changes(before, after)
    lost = {(u.first, u.last): u.text for u in before.unplaced}
    still = {(u.first, u.last): u.text for u in after.unplaced}
    found += [f"“{lost[k]}” has a place now." for k in sorted(lost.keys() - still.keys())]
    found += [f"“{still[k]}” has no place any more." for k in sorted(still.keys() - lost.keys())]
    old, new = before.estimate.totals.total, after.estimate.totals.total
    if old != new:
        found.append(f"The total would be {coin(new)} instead of {coin(old)}.")
    return found


def _finding_changes(before: Sequence[Finding], after: Sequence[Finding]) -> list[str]:
    gone, come = list(before), []
    for finding in after:
        same = next((f for f in gone if _stated(f) == _stated(finding)), None)
        if same is not None:
            gone.remove(same)
        else:
            come.append(finding)
    found = []
    for old in list(gone):
        new = next((f for f in come if _overlap(f, old)), None)
        if new is not None:
            gone.remove(old)
            come.remove(new)
            found.append(f"{_told(old)} would be: {_told(new)}.")
    found += [f"Not found any more: {_told(f)}." for f in gone]
    found += [f"Found as well: {_told(f)}." for f in come]
    return found


def _stated(finding: Finding) -> tuple[object, ...]:
    return (
        finding.component.id,
        frozenset(finding.positions),
        finding.place,
        finding.state,
        finding.action,
        frozenset(finding.action_positions),
        frozenset(c.id for c in finding.conditions),
    )


def _overlap(one: Finding, other: Finding) -> bool:
    return any(a.first < b.last and b.first < a.last for a in one.heard for b in other.heard)


def _told(finding: Finding) -> str:
    wrong = joined([c.name for c in finding.conditions]) or finding.state.replace("_", " ")
    advice = "" if finding.action == "none" else f", {finding.action}"
    return f"{name_of(finding)} ({wrong}{advice})"


def _line_changes(before: Draft, after: Draft) -> list[str]:
    def listed(draft: Draft) -> list[tuple[tuple[object, ...], Line]]:
        return [(_what(x), x) for j in draft.estimate.jobs for x in j.lines]

    gone, found = listed(before), []
    for what, line in listed(after):
        same = next((g for g in gone if g[0] == what), None)
        name = f"“{line.name}”" + (f" ({joined(line.positions)})" if line.positions else "")
        if same is None:
            found.append(f"New line: {name}, {_money(line.amount)}.")
            continue
        gone.remove(same)
        if same[1].amount != line.amount:
            found.append(f"{name} would be {_money(line.amount)} instead of {_money(same[1].amount)}.")
    for _, line in gone:
        name = f"“{line.name}”" + (f" ({joined(line.positions)})" if line.positions else "")
        found.append(f"Line gone: {name}, {_money(line.amount)}.")
    return found


def _what(line: Line) -> tuple[object, ...]:
    part = line.component.id if line.component else ""
    return (line.kind, line.name, part, frozenset(line.positions), line.place, line.operation)


def _money(amount: Decimal | None) -> str:
    return "to be priced" if amount is None else coin(amount)
