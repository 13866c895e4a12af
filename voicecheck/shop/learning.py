"""What the shop's words learn: suggestions gathered from the desk, tried on past drafts, adopted, taken back.

The term files in the shop's folder are the truth. A version is a copy of all of them with who and when; what
was edited by hand since the last one is noticed and becomes a version of its own before anything else is
written, so nobody's edit is lost.
"""

from __future__ import annotations

import difflib
import hashlib
import secrets
import tempfile
import threading
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from voicecheck.desk.corrections import (
    MOST_WORDS,
    Impact,
    Kind,
    Suggestion,
    as_term_rows,
    clash,
    impact,
    merge_files,
    suggestions,
)
from voicecheck.desk.decisions import Numbered, PlaceWords, SettleUnplaced, parse_decision
from voicecheck.desk.worktop import active_decisions
from voicecheck.lexicon import Lexicon, check_lexicon, normalise_phrase
from voicecheck.pipeline import Workshop, draft_from_transcript
from voicecheck.records import (
    DataError,
    Draft,
    InputError,
    Market,
    OutputError,
    Problem,
    RefusedError,
    StaleError,
    VoicecheckError,
)
from voicecheck.records.canonical import fingerprint
from voicecheck.resources import lexicon_dir
from voicecheck.shop.services import Services
from voicecheck.shop.workshops import LEXICON
from voicecheck.store import desk, owner, recordings
from voicecheck.store.tables import DraftRow, LexiconVersion, SuggestionRow, Take, Walkaround
from voicecheck.writing import put

READ_UP_TO = "suggestions read up to"  # the history row up to which was collected
MOST_TRIED = 50  # past walk-arounds that a preview drafts again, the newest
AROUND_S = 1.0  # seconds before and after the words that are played
KEY_LONG = 180
UNPLACED = "unplaced"  # kind of a row: words that had no place, and nobody has said what they are
KINDS: tuple[Kind, ...] = ("name", "sound", "fit", "condition")

_collecting = threading.Lock()


# -- collecting ----------------------------------------------------------------------------------------------


def collect(services: Services) -> int:
    """Gathers what decisions and drafts since the last time suggest; how many walk-arounds were looked at.

    The same again adds nothing; what the desk has taken back or settled since is not suggested any more.
    Raises ``DataError`` where the term files cannot be read.
    """
    with _collecting:
        with services.database.reading() as session:
            after = int((owner.get_setting(session, key=READ_UP_TO) or {}).get("number", 0))
            newest, changed = owner.changed_walkarounds(session, after=after)
        found = [item for id_ in changed for item in _suggested_by(services, id_)]
        now = services.clock()
        with services.database.session() as session:
            owner.withdraw_sentences(
                session,
                of=set(changed),
                still={(_row_key(item), fingerprint(item.sentence)) for item in found},
            )
            for item in found:
                owner.suggest(
                    session,
                    key=_row_key(item),
                    kind=item.kind,
                    what=item.what,
                    sentences=[item.sentence],
                    now=now,
                )
            if changed:
                owner.set_note(session, key=READ_UP_TO, value={"number": newest}, now=now)
        settle(services)
        return len(changed)


@dataclass(frozen=True, slots=True)
class _Item:
    kind: str
    what: dict[str, Any]
    sentence: dict[str, Any]


def _row_key(item: _Item) -> str:
    what = item.what
    key = "/".join((item.kind, what["component"], what["condition"], what["words"]))
    if len(key) <= KEY_LONG:
        return key
    return f"{key[: KEY_LONG - 65]}/{hashlib.sha256(key.encode()).hexdigest()}"


def _suggested_by(services: Services, walkaround: str) -> list[_Item]:
    with services.database.reading() as session:
        row = session.get(Walkaround, walkaround)
        drafted = desk.latest_draft(session, walkaround=walkaround)
        if row is None or drafted is None:
            return []
        rows = desk.decisions(session, walkaround=walkaround, draft=drafted.id)
        takes = recordings.takes(session, walkaround=walkaround)
        decided = [Numbered(seq=d.seq, decision=parse_decision(d.decision)) for d in rows]
        about = {"walkaround": row.id, "title": row.title, "draft": drafted.id}
        base = Draft.model_validate(drafted.document)
    lexicon = services.workshop(row.market).lexicon
    found = []
    for suggestion in suggestions(base, decided, lexicon):
        what = {k: getattr(suggestion, k) for k in ("component", "condition", "words")}
        sentence = {**about, "text": suggestion.sentence[:400], **_seconds(takes, suggestion)}
        found.append(_Item(suggestion.kind, what, sentence))
    active = [n.decision for n in active_decisions(decided)]
    settled = [d for d in active if isinstance(d, (SettleUnplaced, PlaceWords))]
    taken = {(s.first, s.last) for s in settled}
    words = base.transcript.words
    for stretch in base.unplaced:
        text = " ".join(normalise_phrase(stretch.text))
        if not text or (stretch.first, stretch.last) in taken:
            continue
        around = words[max(0, stretch.first - 8) : stretch.last + 8]
        sentence = {
            **about,
            "text": " ".join(w.read for w in around if w.read)[:400],
            "first": stretch.first,
            "last": stretch.last,
            **_place(takes, stretch.start, stretch.end),
        }
        found.append(_Item(UNPLACED, {"component": "", "condition": "", "words": text}, sentence))
    return found


def _seconds(takes: Sequence[Take], suggestion: Suggestion) -> dict[str, Any]:
    return _place(takes, suggestion.start, suggestion.end)


def _place(takes: Sequence[Take], start: float | None, end: float | None) -> dict[str, Any]:
    """The take and its own seconds; on the draft's clock the takes follow each other."""
    if start is None or end is None:
        return {}
    begun = 0.0
    for take in takes:
        seconds = take.seconds or 0.0
        if begun <= start < begun + seconds:
            return {
                "take": take.id,
                "from": round(max(0.0, start - begun - AROUND_S), 2),
                "to": round(min(end - begun + AROUND_S, seconds), 2),
            }
        begun += seconds
    return {}


def settle(services: Services) -> None:
    """Brings open and adopted suggestions in line with what the term files say.

    A name that is in the files by now (edited by hand, or put back) counts as adopted; one that is not any
    more (taken back) is open again.
    """
    lexicon = services.workshop(services.settings.market).lexicon
    phrases = {normalise_phrase(n) for c in lexicon.components.values() for n in c.names}
    phrases |= {normalise_phrase(said) for c in lexicon.conditions.values() for said in c.said}
    now = services.clock()
    with services.database.session() as session:
        for row in owner.suggestions(session, state=None, limit=5000):
            change = _settled(row, lexicon, phrases)
            if change is not None:
                state, details = change
                owner.decide_suggestion(
                    session, id=row.id, state=state, now=now, person=None, details=details
                )


def _settled(
    row: SuggestionRow, lexicon: Lexicon, phrases: set[tuple[str, ...]]
) -> tuple[str, dict[str, Any]] | None:
    """The state that a row goes to by itself, and why; ``None``: it stays."""
    decided = row.what.get("decided") or {}
    if row.kind == UNPLACED and row.state == "open":
        if normalise_phrase(row.what["words"]) in phrases:
            return "declined", {"reason": "The term files have these words by now."}
    elif row.state == "adopted" or (row.state == "open" and row.kind != UNPLACED):
        meant = Suggestion.model_validate(decided.get("as") or _as(row))
        has = known(meant, lexicon)
        if has and row.state == "open":
            return "adopted", {"reason": "The term files have it.", "as": _plain(meant)}
        if not has and row.state == "adopted":
            return "open", {"reason": "The term files do not have it any more."}
    return None


def known(suggestion: Suggestion, lexicon: Lexicon) -> bool:
    """Whether the term files say already what is suggested."""
    words = normalise_phrase(suggestion.words)
    part = lexicon.components.get(suggestion.component)
    condition = lexicon.conditions.get(suggestion.condition)
    if suggestion.kind == "name":
        return part is not None and words in {normalise_phrase(n) for n in part.names}
    if suggestion.kind == "sound":
        return part is not None and words in {normalise_phrase(n) for n in part.sounds_like}
    if suggestion.kind == "fit":
        return part is not None and condition is not None and lexicon.fits(condition.fits, part.id)
    return condition is not None and words in {normalise_phrase(s) for s in condition.said}


def _as(row: SuggestionRow) -> dict[str, Any]:
    kind = "name" if row.kind == UNPLACED else row.kind
    return {"kind": kind, **{k: row.what.get(k, "") for k in ("component", "condition", "words")}}


def _plain(suggestion: Suggestion) -> dict[str, Any]:
    return {k: getattr(suggestion, k) for k in ("kind", "component", "condition", "words")}


# -- what is shown -------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Open:
    """A suggestion as the page shows it. ``clash`` says why it cannot be adopted as it is."""

    row: SuggestionRow
    meant: Suggestion
    component: str
    condition: str
    clash: str


def open_ones(services: Services) -> list[Open]:
    """The suggestions that wait for the owner: corrections first, then words without a place."""
    lexicon = services.workshop(services.settings.market).lexicon
    with services.database.reading() as session:
        rows = owner.suggestions(session, state="open")
    found = []
    for row in rows:
        meant = Suggestion.model_validate(_as(row))
        part = lexicon.components.get(meant.component)
        condition = lexicon.conditions.get(meant.condition)
        found.append(
            Open(
                row,
                meant,
                part.name if part else "",
                condition.name if condition else "",
                clash(meant, lexicon),
            )
        )
    return sorted(found, key=lambda o: (o.row.kind == UNPLACED, o.row.created))


def decline(services: Services, *, id: str, reason: str, person: str) -> None:
    with services.database.session() as session:
        owner.decide_suggestion(
            session, id=id, state="declined", now=services.clock(), person=person,
            details={"reason": reason.strip()[:500]},
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Edited:
    """A term file that is not as in the last version: ``how`` in a word, and the lines that differ."""

    name: str
    how: str
    lines: tuple[str, ...] = ()


def own_files(services: Services) -> dict[str, str]:
    """The shop's own term files: path below the folder → text.

    Raises ``DataError`` for one that is no text.
    """
    folder = services.settings.shop_folder / LEXICON
    found = {}
    for path in sorted(folder.rglob("*.csv")) if folder.is_dir() else ():
        name = path.relative_to(folder).as_posix()
        if not path.is_file() or path.name.startswith((".", "~")):
            continue
        try:
            found[name] = path.read_bytes().decode("utf-8-sig")
        except (OSError, UnicodeDecodeError) as error:
            raise DataError(
                f"{path} cannot be read as text in UTF-8.",
                problems=[Problem(file=name, row=None, field="", message="is not text in UTF-8")],
                hint="Save it as CSV in UTF-8.",
            ) from error
    return found


def edited_by_hand(services: Services) -> tuple[Edited, ...]:
    """How the files differ from the last version."""
    with services.database.reading() as session:
        last = owner.lexicon_version(session)
    return differences(last.files if last is not None else {}, own_files(services))


def differences(before: Mapping[str, str], after: Mapping[str, str], *, most: int = 40) -> tuple[Edited, ...]:
    found = []
    for name in sorted({*before, *after}):
        old, new = before.get(name), after.get(name)
        if old == new:
            continue
        how = "new" if old is None else "gone" if new is None else "changed"
        lines = [
            line
            for line in difflib.unified_diff(
                (old or "").splitlines(), (new or "").splitlines(), n=0, lineterm=""
            )
            if not line.startswith(("---", "+++", "@@"))
        ]
        more = [f"… and {len(lines) - most} more lines"] if len(lines) > most else []
        found.append(Edited(name, how, (*lines[:most], *more)))
    return tuple(found)


def keep_edits(services: Services, *, person: str, note: str = "Edited by hand.") -> bool:
    """Makes what was edited by hand a version of its own; whether there was anything. Faulty files: no."""
    files = own_files(services)
    with services.database.reading() as session:
        last = owner.lexicon_version(session)
    if files == (last.files if last is not None else {}):
        return False
    _refuse_faults(services, files)
    with services.database.session() as session:
        owner.add_lexicon_version(session, files=files, now=services.clock(), person=person, note=note)
    return True


# -- trying out ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Choice:
    """A suggestion as the owner wants it: the row's id, and the words, part and condition that are meant."""

    id: str
    meant: Suggestion


@dataclass(frozen=True, slots=True)
class Tried:
    """What a change would do to past drafts."""

    name: str
    walkaround: str
    sentences: tuple[str, ...]


@dataclass(slots=True)
class Preview:
    """A change that is being tried on past drafts. Only what has been tried through can be adopted."""

    id: str
    choices: tuple[Choice, ...]
    files: dict[str, str]  # as they would be
    before: str  # fingerprint of the files it was made from
    warnings: tuple[str, ...] = ()
    total: int = 0
    done: int = 0
    tried: list[Tried] = field(default_factory=list)
    finished: bool = False
    trouble: str = ""
    all_there: int = 0  # past walk-arounds in all; at most MOST_TRIED are tried

    @property
    def changed(self) -> list[Tried]:
        return [t for t in self.tried if t.sentences]


class Previews:
    """The previews of this process; the oldest go."""

    MOST = 8

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._kept: dict[str, Preview] = {}

    def add(self, preview: Preview) -> None:
        with self._lock:
            self._kept[preview.id] = preview
            for id_ in list(self._kept)[: -self.MOST]:
                del self._kept[id_]

    def get(self, id_: str) -> Preview:
        with self._lock:
            found = self._kept.get(id_)
        if found is None:
            raise StaleError(
                "This look at past drafts is not there any more.", hint="Choose the suggestions once more."
            )
        return found


def choice(services: Services, *, id: str, kind: str, words: str, part: str, condition: str) -> Choice:
    """A suggestion with what the owner typed: names of a part and a condition as people say them."""
    lexicon = services.workshop(services.settings.market).lexicon
    with services.database.reading() as session:
        row = owner.suggestion(session, id=id)
    if row.state != "open":
        raise RefusedError(f"This suggestion was {row.state} already.", hint="Load the page again.")
    if kind not in KINDS:
        raise InputError(
            "Say whether it is a name, a sound, a fit or a condition.", hint="Load the page again."
        )
    component = _id_of(part, lexicon.components, "part") if kind != "condition" else ""
    state = _id_of(condition, lexicon.conditions, "condition") if kind in ("fit", "condition") else ""
    meant = Suggestion(
        kind=kind, component=component, condition=state, words=" ".join(normalise_phrase(words))
    )
    why = clash(meant, lexicon)
    if why:
        raise InputError(f"“{words.strip() or condition or part}” cannot be adopted so: {why}")
    return Choice(id, meant)


def _id_of(said: str, terms: Mapping[str, Any], what: str) -> str:
    plain = " ".join(said.casefold().split())
    exact = [id_ for id_, term in terms.items() if term.name.casefold() == plain]
    if len(exact) == 1:
        return exact[0]
    named = [
        id_
        for id_, term in terms.items()
        if plain in {str(n).casefold() for n in getattr(term, "names", getattr(term, "said", ()))}
    ]
    if len(named) != 1:
        count = "more than one" if named or exact else "no"
        raise InputError(
            f"The shop's words have {count} {what} called “{said.strip()}”.", hint="Choose one from the list."
        )
    return named[0]


def prepare(services: Services, choices: Sequence[Choice]) -> Preview:
    """The files as they would be with ``choices``. Raises ``DataError`` with the faults they would have."""
    if not choices:
        raise InputError("Nothing was chosen.", hint="Mark at least one suggestion.")
    lexicon = services.workshop(services.settings.market).lexicon
    before = own_files(services)
    files = merge_files(before, as_term_rows([c.meant for c in choices], lexicon))
    warnings = _refuse_faults(services, files)
    return Preview(
        id=secrets.token_hex(16),
        choices=tuple(choices),
        files=files,
        before=_fingerprint(before),
        warnings=tuple(str(p) for p in warnings),
    )


def try_out(services: Services, preview: Preview, *, most: int = MOST_TRIED) -> None:
    """Drafts past walk-arounds without and with the change; the sentences go into ``preview``."""
    try:
        with tempfile.TemporaryDirectory(prefix="voicecheck-words-") as name:
            folder = Path(name) / LEXICON
            _write_new(folder, preview.files)
            with services.database.reading() as session:
                preview.all_there, ids = _past(session, most)
            preview.total = len(ids)
            made: dict[str, Workshop] = {}
            for draft_id, walkaround, title in ids:
                preview.tried.append(_tried(services, folder, made, draft_id, walkaround, title))
                preview.done += 1
    except VoicecheckError as error:
        preview.trouble = f"{error.message} {error.hint}".strip()
        return
    except Exception as error:
        preview.trouble = (
            f"Something went wrong in this program ({type(error).__name__}); nothing was changed."
        )
        raise
    preview.finished = True


def _past(session: Session, most: int) -> tuple[int, list[tuple[str, str, str]]]:
    """How many walk-arounds have a draft, and of the newest: draft, walk-around, title."""
    newest: dict[str, tuple[str, str]] = {}
    rows = session.execute(
        select(DraftRow.id, DraftRow.walkaround, Walkaround.title)
        .join(Walkaround, Walkaround.id == DraftRow.walkaround)
        .order_by(DraftRow.made.desc(), DraftRow.number.desc())
    )
    for id_, walkaround, title in rows:
        newest.setdefault(walkaround, (id_, title))
    listed = [(id_, walkaround, title) for walkaround, (id_, title) in newest.items()]
    return len(listed), listed[:most]


def _tried(
    services: Services, folder: Path, made: dict[str, Workshop], draft_id: str, walkaround: str, title: str
) -> Tried:
    with services.database.reading() as session:
        past = Draft.model_validate(desk.draft(session, id=draft_id).document)
    market: Market = past.market
    if market not in made:
        made[market] = services.workshop.load(market, lexicon_folder=folder)
    before = draft_from_transcript(services.workshop(market), past.transcript, recording=past.recording)
    after = draft_from_transcript(made[market], past.transcript, recording=past.recording)
    result: Impact = impact([before], [after])[0]
    return Tried(title or "A vehicle without a name", walkaround, result.sentences)


def start(services: Services, previews: Previews, choices: Sequence[Choice]) -> Preview:
    """A preview that goes on in a thread of its own."""
    preview = prepare(services, choices)
    previews.add(preview)
    threading.Thread(target=try_out, args=(services, preview), name="preview", daemon=True).start()
    return preview


def _refuse_faults(services: Services, files: Mapping[str, str], *, whole: bool = False) -> list[Problem]:
    """Checks term files as they would be used; the doubts that come with them. Raises ``DataError``.

    ``whole``: together with the catalogue, the prices and the policies too.
    """
    if not files:
        if whole:
            services.workshop.load(services.settings.market, lexicon_folder=None)
        return []
    shipped = lexicon_dir()
    with tempfile.TemporaryDirectory(prefix="voicecheck-words-") as name:
        folder = Path(name) / LEXICON
        _write_new(folder, files)
        problems = check_lexicon(shipped, folder)
        errors = [p for p in problems if p.severity == "error"]
        if errors:
            more = f" and {len(errors) - 1} more" if len(errors) > 1 else ""
            raise DataError(
                f"The term files would have a fault: {errors[0]}{more}. Nothing was changed.",
                problems=errors,
                hint="Mend the row that is named, then try again.",
            )
        if whole:
            services.workshop.load(services.settings.market, lexicon_folder=folder)
    return [p for p in problems if str(p) not in _shipped_doubts()]


@cache
def _shipped_doubts() -> frozenset[str]:
    """What is doubtful in the shipped term files alone: none of the shop's business."""
    return frozenset(str(p) for p in check_lexicon(lexicon_dir()))


def _write_new(folder: Path, files: Mapping[str, str]) -> None:
    folder.mkdir()
    for name, text in files.items():
        path = folder / name
        path.parent.mkdir(exist_ok=True)
        path.write_text(text, encoding="utf-8", newline="")


def _fingerprint(files: Mapping[str, str]) -> str:
    hasher = hashlib.sha256()
    for name in sorted(files):
        hasher.update(f"{name}\0{len(files[name])}\0{files[name]}\0".encode("utf-8", "surrogatepass"))
    return hasher.hexdigest()


# -- adopting and taking back --------------------------------------------------------------------------------


def adopt(services: Services, preview: Preview, *, person: str, note: str = "") -> LexiconVersion:
    """Writes what was tried into the term files, as a new version.

    Raises ``StaleError`` where a file was changed since the look at past drafts.
    """
    if not preview.finished:
        raise RefusedError("The past drafts have not been tried through yet.", hint="Wait until they have.")
    present = own_files(services)
    if _fingerprint(present) != preview.before:
        raise StaleError(
            "The term files were changed meanwhile; nothing was adopted.",
            hint="Look at what would change again.",
        )
    keep_edits(services, person=person)
    now = services.clock()
    said = note.strip() or "; ".join(sentence_of(services, c.meant) for c in preview.choices)
    with services.database.session() as session:
        version = owner.add_lexicon_version(
            session, files=preview.files, now=now, person=person, note=said[:2000]
        )
        for one in preview.choices:
            details = {"version": version.number, "as": _plain(one.meant)}
            owner.decide_suggestion(
                session, id=one.id, state="adopted", now=now, person=person, details=details
            )
        _replace_all(services, before=present, after=preview.files)
    return version


def take_back(services: Services, *, number: int, person: str) -> LexiconVersion:
    """The files of version ``number`` (0: none of the shop's own) again, as a new version."""
    with services.database.reading() as session:
        wanted = {} if number == 0 else dict((owner.lexicon_version(session, number=number) or _none()).files)
    keep_edits(services, person=person)
    present = own_files(services)
    if present == wanted:
        raise RefusedError("The term files are as in that version already.")
    _refuse_faults(services, wanted, whole=True)  # the catalogue may name a part that would be gone
    with services.database.session() as session:
        version = owner.add_lexicon_version(
            session, files=wanted, now=services.clock(), person=person, note=f"Back to version {number}."
        )
        _replace_all(services, before=present, after=wanted)
    settle(services)
    return version


def _none() -> LexiconVersion:
    raise InputError("There is no such version of the words.")


def sentence_of(services: Services, meant: Suggestion) -> str:
    """What a suggestion says, in words."""
    lexicon = services.workshop(services.settings.market).lexicon
    part = lexicon.components.get(meant.component)
    condition = lexicon.conditions.get(meant.condition)
    part_name = part.name if part else "a part to be named"
    condition_name = condition.name if condition else "a condition to be named"
    if meant.kind == "name":
        return f"“{meant.words}” is another name of {part_name}"
    if meant.kind == "sound":
        return f"“{meant.words}” is how {part_name} is misheard"
    if meant.kind == "fit":
        return f"{part_name} can be {condition_name}"
    return f"“{meant.words}” says {condition_name}"


def _replace_all(services: Services, *, before: Mapping[str, str], after: Mapping[str, str]) -> None:
    """Puts ``after`` in the place of ``before``; where one cannot be written, all are as they were."""
    folder = services.settings.shop_folder / LEXICON
    undo: list[Callable[[], None]] = []
    try:
        for name in sorted({*before, *after}):
            if before.get(name) == after.get(name):
                continue
            path = folder / name
            undo.append(_undo(path))
            text = after.get(name)
            if text is None:
                path.unlink(missing_ok=True)
            else:
                _write(path, text.encode("utf-8"))
    except OSError as error:
        for back in reversed(undo):
            with suppress(OSError):
                back()
        reason = (error.strerror or "unknown reason").lower()
        raise OutputError(
            f"The term files in {folder} cannot be written: {reason}.", hint="They are as they were."
        ) from error


def _undo(path: Path) -> Callable[[], None]:
    old = path.read_bytes() if path.exists() else None

    def back() -> None:
        if old is None:
            path.unlink(missing_ok=True)
        else:
            _write(path, old)

    return back


def _write(path: Path, data: bytes) -> None:
    """Under its name there is always the old file or the new one."""
    path.parent.mkdir(parents=True, exist_ok=True)
    put(path, data)


__all__ = [
    "KINDS",
    "MOST_TRIED",
    "MOST_WORDS",
    "UNPLACED",
    "Choice",
    "Edited",
    "Open",
    "Preview",
    "Previews",
    "Tried",
    "adopt",
    "choice",
    "collect",
    "decline",
    "differences",
    "edited_by_hand",
    "keep_edits",
    "known",
    "open_ones",
    "own_files",
    "prepare",
    "sentence_of",
    "settle",
    "start",
    "take_back",
    "try_out",
]
