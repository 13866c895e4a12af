"""One walk-around as a page of work: its draft with all decisions, and adding one more.

Reads what the store has, lets ``desk`` work out how things stand, and writes one decision at a time under the
number that the person has seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

from sqlalchemy.orm import Session

from voicecheck.desk.consent import ComesBack, comes_back
from voicecheck.desk.decisions import Decision, Numbered, Say, decision_json, parse_decision
from voicecheck.desk.wearing import Wear, wear_since
from voicecheck.desk.worktop import Worktop, check, worktop
from voicecheck.pipeline import Workshop, transcript_from_text, understand
from voicecheck.records import Draft, Job, RefusedError, StaleError
from voicecheck.shop.services import Services
from voicecheck.shop.work.takes import offsets
from voicecheck.store import desk, papers, people, recordings, walkarounds
from voicecheck.store.tables import DecisionRow, DraftRow, Person, Photo, Take, Walkaround
from voicecheck.store.walkarounds import Listed

VISITS = 4  # earlier ones that readings are compared with
AT_WORK = frozenset({"review", "issued", "answered"})  # states in which decisions are taken


@dataclass(frozen=True, slots=True)
class TakeSeen:
    """A take on the clock of the draft: its words begin ``start`` seconds in."""

    id: str
    number: int
    start: float
    seconds: float
    gone: bool
    video: bool = False


@dataclass(frozen=True, slots=True)
class Bench:
    """Everything that the page shows. ``top`` is ``None`` where nothing has been drafted yet."""

    listed: Listed
    draft_id: str
    base: Draft | None
    decided: tuple[Numbered, ...]
    top: Worktop | None
    takes: tuple[TakeSeen, ...]
    photos: tuple[Photo, ...]
    back: tuple[tuple[str, ComesBack], ...] = ()  # work put off earlier: its row's id, and how it stands now
    wear: tuple[Wear, ...] = ()  # readings that an earlier visit has too

    @property
    def title(self) -> str:
        """What the vehicle is called at the desk."""
        vehicle = self.listed.vehicle
        return self.row.title or (vehicle.title if vehicle else "") or "A vehicle without a name"

    @property
    def row(self) -> Walkaround:
        return self.listed.walkaround


def look(services: Services, walkaround: str) -> Bench:
    """How a walk-around stands. Raises ``NotThereError``."""
    with services.database.reading() as session:
        listed = walkarounds.listed(session, id=walkaround)
        drafted = desk.latest_draft(session, walkaround=walkaround)
        rows = desk.decisions(session, walkaround=walkaround, draft=drafted.id) if drafted is not None else []
        decided = _numbered(session, rows)
        takes = _on_one_clock(recordings.takes(session, walkaround=walkaround))
        photos = tuple(recordings.photos(session, walkaround=walkaround))
        earlier = _put_off_before(session, listed.walkaround)
        visits = _earlier_drafts(session, listed.walkaround)
    if drafted is None:
        return Bench(listed, "", None, (), None, takes, photos)
    base, top = _kept(services, drafted, decided)
    before = [services.drafts.get(v.id, partial(Draft.model_validate, v.document)) for v in visits]
    return Bench(
        listed,
        drafted.id,
        base,
        decided,
        top,
        takes,
        photos,
        _back(services, earlier, top.draft),
        wear_since(top.draft, before),
    )


def decide(
    services: Services, bench: Bench, *, expected_seq: int, person: str, decision: Decision
) -> Worktop:
    """Adds a decision over ``bench``, which was just looked at, and gives how things stand then.

    Raises ``StaleError`` where somebody was faster, ``RefusedError`` where the decision would change nothing.
    """
    if bench.top is None or bench.base is None or bench.row.state not in AT_WORK:
        raise RefusedError("There is no draft to decide about yet.", hint="Wait until it has been drafted.")
    if bench.row.seq != expected_seq:
        raise StaleError(
            "Somebody else has changed this draft in the meantime.",
            hint="Look at it as it is now; what you were about to do is not done yet.",
        )
    written = decision_json(decision)
    new = Numbered(seq=expected_seq + 1, decision=parse_decision(written), by=_name(services, person))
    workshop = services.workshop(bench.base.market)
    top = _worktop(services, bench.base, (*bench.decided, new))
    check(bench.top, top)
    with services.database.session() as session:
        desk.add_decision(
            session,
            walkaround=bench.row.id,
            expected_seq=expected_seq,
            draft=bench.draft_id,
            person=person,
            kind=decision.kind,
            decision=written,
            now=services.clock(),
            open_asks=top.summary.open_asks,
        )
    services.worktops.get(_key(bench.draft_id, new.seq, workshop), lambda: (workshop, top))
    return top


def said(services: Services, *, market: str, text: str, answers: str = "") -> Say:
    """A typed sentence with the findings it gives. Raises ``InputError`` where it holds no words."""
    transcript = transcript_from_text(text)
    result = understand(services.workshop(market), transcript)
    return Say(text=text, findings=result.findings, answers=answers)


def _kept(services: Services, drafted: DraftRow, decided: tuple[Numbered, ...]) -> tuple[Draft, Worktop]:
    """The draft and how it stands, remembered as long as nobody decides and no file of the shop changes."""
    base = services.drafts.get(drafted.id, lambda: Draft.model_validate(drafted.document))
    workshop = services.workshop(base.market)
    seq = decided[-1].seq if decided else 0
    key = _key(drafted.id, seq, workshop)
    seen, top = services.worktops.get(key, lambda: (workshop, _worktop(services, base, decided)))
    if seen is not workshop:  # another workshop that happened to get the same id
        top = _worktop(services, base, decided)
    return base, top


def _key(draft: str, seq: int, workshop: Workshop) -> tuple[str, int, int]:
    return (draft, seq, id(workshop))


def _worktop(services: Services, base: Draft, decided: Sequence[Numbered]) -> Worktop:
    workshop = services.workshop(base.market)
    return worktop(
        base,
        decided,
        lexicon=workshop.lexicon,
        shop=workshop.shop,
        market=workshop.market,
        estimator=services.workshop.estimator(base.market),
    )


def _earlier_drafts(session: Session, row: Walkaround) -> list[DraftRow]:
    """The drafts of the vehicle's last visits before this one, the newest first."""
    if row.vehicle is None:
        return []
    page = walkarounds.page(session, vehicle=row.vehicle, limit=50)
    before = [x.walkaround for x in page.rows if x.walkaround.created < row.created][:VISITS]
    found = [desk.latest_draft(session, walkaround=visit.id) for visit in before]
    return [draft for draft in found if draft is not None]


def _put_off_before(session: Session, row: Walkaround) -> list[tuple[str, Job]]:
    """What was put off on this vehicle at earlier visits and is still open."""
    if row.vehicle is None:
        return []
    here = {version.id for version in papers.versions(session, walkaround=row.id)}
    found = papers.put_off_of(session, vehicle=row.vehicle)
    return [(p.id, Job.model_validate(p.what)) for p in found if p.issued not in here]


def _back(
    services: Services, earlier: Sequence[tuple[str, Job]], draft: Draft
) -> tuple[tuple[str, ComesBack], ...]:
    lexicon = services.workshop(draft.market).lexicon
    found = comes_back([job for _, job in earlier], draft, lexicon=lexicon)
    return tuple((id_, back) for (id_, _), back in zip(earlier, found, strict=True))


def _numbered(session: Session, rows: Sequence[DecisionRow]) -> tuple[Numbered, ...]:
    names: dict[str, str] = {}
    found = []
    for row in rows:
        if row.person not in names:
            person = session.get(Person, row.person)
            names[row.person] = person.name if person else "somebody"
        found.append(Numbered(seq=row.seq, decision=parse_decision(row.decision), by=names[row.person]))
    return tuple(found)


def _name(services: Services, person: str) -> str:
    with services.database.reading() as session:
        return people.person(session, id=person).name


def _on_one_clock(rows: Sequence[Take]) -> tuple[TakeSeen, ...]:
    seconds = [row.seconds or 0.0 for row in rows]
    return tuple(
        TakeSeen(
            row.id,
            row.number,
            round(start, 3),
            long,
            gone=row.deleted is not None,
            video=row.kind.startswith("video"),
        )
        for row, start, long in zip(rows, offsets(seconds), seconds, strict=True)
    )
