"""What a customer agreed to, whether a new version of the estimate needs asking again, what comes back.

An estimate is agreed to job by job. What was agreed is tied to the document that was on the screen (its
fingerprint); a later version carries an agreement on only where it asks for no more than was agreed, within
the tolerance that the shop and its law allow. The default tolerance is none.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from decimal import Decimal
from typing import Literal

from voicecheck.estimate.scope import meet, spots_of
from voicecheck.estimate.texts import coin
from voicecheck.estimate.totals import total
from voicecheck.lexicon.model import Lexicon
from voicecheck.records import Draft, Estimate, Job, Line, Record
from voicecheck.records.estimate import Terms
from voicecheck.records.money import of_units
from voicecheck.records.papers import Tolerance
from voicecheck.records.wording import capital, joined

Means = Literal["link", "phone", "in person"]


class Agreement(Record):
    """What a customer said to one issued document.

    ``agreed`` and ``declined`` are job ids; jobs in neither were not spoken of, and stay as they were.
    A ``withdrawal`` takes back the agreement to the jobs in ``declined``, or to all where that is empty.
    """

    kind: Literal["answer", "withdrawal"] = "answer"
    agreed: tuple[str, ...] = ()
    declined: tuple[str, ...] = ()
    fingerprint: str
    name: str
    means: Means
    contact: str = ""


class Version(Record):
    """An issued estimate: ``fingerprint`` is the sha256 of the document that the customer saw."""

    version: int
    fingerprint: str
    estimate: Estimate


NO_TOLERANCE = Tolerance(
    kind="none", citation="the shop's papers promise to ask before any rise", status="common practice"
)


class AskAgain(Record):
    """One reason to ask again; ``job`` is "" for the whole of what was agreed to in one version."""

    job: str
    title: str
    before: Decimal
    now: Decimal
    text: str


class JobStanding(Record):
    """How one job of the newest version stands. ``version`` is the one in which that was said."""

    job: str
    title: str
    state: Literal["agreed", "declined", "withdrawn", "ask again", "not answered"]
    agreed_amount: Decimal | None = None  # its subtotal in that version
    amount: Decimal
    version: int | None = None
    name: str = ""
    means: Means | None = None
    why: str = ""


class Standing(Record):
    """What is agreed now.

    ``amount`` is the sum of the agreed jobs' subtotals in the newest version, before supplies and tax.
    ``lost`` are sentences on agreements to jobs that the newest version does not have or puts off;
    ``unknown`` are answers to documents that were never issued here.
    """

    version: int | None
    jobs: tuple[JobStanding, ...]
    amount: Decimal
    ask_again: tuple[AskAgain, ...] = ()
    lost: tuple[str, ...] = ()
    unknown: tuple[str, ...] = ()

    @property
    def agreed(self) -> tuple[str, ...]:
        """The ids of the jobs that may be done."""
        return tuple(j.job for j in self.jobs if j.state == "agreed")


_State = Literal["agreed", "declined", "withdrawn", "ask again", "not answered"]
_Said = tuple[_State, Version, Agreement]


def standing(
    issued: Sequence[Version], consents: Sequence[Agreement], tolerance: Tolerance = NO_TOLERANCE
) -> Standing:
    """What is agreed now, from everything issued and everything said, both oldest first.

    For each job of the newest version that is not put off, the latest word counts. An agreement to an earlier
    version holds for the newest where that one asks for no more; else the job is to be asked again. Asked
    about are: work that was not in the job; a part that is to be of another condition; a price that was open
    and now is not, or is open now; more for the job than agreed; more for all that was agreed to together,
    supplies, fees, discounts and tax included (by the terms of each version).
    """
    if not issued:
        return Standing(version=None, jobs=(), amount=Decimal(0), unknown=_unknown((), consents))
    known = {v.fingerprint: v for v in issued}
    said: dict[str, _Said] = {}
    for consent in consents:
        version = known.get(consent.fingerprint)
        if version is None:
            continue
        if consent.kind == "withdrawal":
            for id_ in consent.declined or tuple(j for j, (s, _, _) in said.items() if s == "agreed"):
                said[id_] = ("withdrawn", version, consent)
            continue
        there = {j.id for j in version.estimate.jobs}
        for id_ in consent.declined:
            said[id_] = ("declined", version, consent)
        for id_ in consent.agreed:
            if id_ in there and id_ not in consent.declined:
                said[id_] = ("agreed", version, consent)
    newest = max(issued, key=lambda v: v.version)
    again: list[AskAgain] = []
    jobs = []
    todo = {j.id: j for j in newest.estimate.jobs if not j.put_off}
    for job in todo.values():
        found, reasons = _standing(job, said.get(job.id), newest, tolerance)
        jobs.append(found)
        again += reasons
    for version in issued:
        kept = [j.job for j in jobs if j.state == "agreed" and j.version == version.version]
        for reason in _whole_again(kept, version, newest, tolerance):
            again.append(reason)
            asked = {"state": "ask again", "why": reason.text}
            jobs = [j.model_copy(update=asked) if j.job in kept else j for j in jobs]
    agreed = [j for j in jobs if j.state == "agreed"]
    here = {j.id for j in newest.estimate.jobs}
    lost = [
        f"“{_title(version, id_)}” was agreed to in version {version.version} and is "
        f"{'put off' if id_ in here else 'not'} in version {newest.version}."
        for id_, (state, version, _) in said.items()
        if state == "agreed" and id_ not in todo
    ]
    return Standing(
        version=newest.version,
        jobs=tuple(jobs),
        amount=sum((j.amount for j in agreed), Decimal(0)),
        ask_again=tuple(again),
        lost=tuple(lost),
        unknown=_unknown(tuple(known), consents),
    )


class ComesBack(Record):
    """A job that was not done last time, beside what was found this time.

    ``now``: "again" (work on it is on the new draft, ``lines``), "fine" (said to be fine now, ``findings``),
    "not spoken of".
    """

    job: Job
    now: Literal["again", "fine", "not spoken of"]
    lines: tuple[str, ...] = ()
    findings: tuple[str, ...] = ()
    text: str


def comes_back(put_off: Sequence[Job], new: Draft, *, lexicon: Lexicon) -> tuple[ComesBack, ...]:
    """What to suggest for a vehicle that returns, from the jobs that were put off the last times."""
    found = []
    for job in put_off:
        leads = [x for x in job.lines if x.kind in ("labour", "sublet")] or list(job.lines)
        lines = [x.id for j in new.estimate.jobs for x in j.lines if any(_same(x, o, lexicon) for o in leads)]
        fine = [
            f.id
            for f in new.findings
            if f.state == "ok"
            and any(
                o.component is not None
                and f.component.id == o.component.id
                and meet(
                    spots_of(lexicon.components[f.component.id], f.positions),
                    spots_of(lexicon.components[f.component.id], o.positions),
                )
                for o in leads
                if o.component is not None and o.component.id in lexicon.components
            )
        ]
        if lines:
            text = f"“{job.title}” was put off before, and is on this draft again."
            found.append(ComesBack(job=job, now="again", lines=tuple(lines), text=text))
        elif fine:
            text = f"“{job.title}” was put off before; this time it was said to be fine."
            found.append(ComesBack(job=job, now="fine", findings=tuple(fine), text=text))
        else:
            text = f"“{job.title}” was put off before, and nothing was said of it this time: look, and ask."
            found.append(ComesBack(job=job, now="not spoken of", text=text))
    return tuple(found)


# --- amounts and content


def _standing(
    job: Job, said: _Said | None, newest: Version, tolerance: Tolerance
) -> tuple[JobStanding, list[AskAgain]]:
    if said is None:
        return JobStanding(job=job.id, title=job.title, state="not answered", amount=job.subtotal), []
    state, version, consent = said
    old = next((j for j in version.estimate.jobs if j.id == job.id), None)
    reasons: list[AskAgain] = []
    if state == "agreed" and version.version != newest.version and old is not None:
        reasons = _job_again(old, job, tolerance)
    found = JobStanding(
        job=job.id,
        title=job.title,
        state="ask again" if reasons else state,
        agreed_amount=old.subtotal if old is not None else None,
        amount=job.subtotal,
        version=version.version,
        name=consent.name,
        means=consent.means,
        why=" ".join(r.text for r in reasons),
    )
    return found, reasons


def _job_again(old: Job, new: Job, tolerance: Tolerance) -> list[AskAgain]:
    found: list[AskAgain] = []

    def ask(text: str) -> None:
        found.append(AskAgain(job=new.id, title=new.title, before=_top(old), now=_top(new), text=text))

    then = {_work(x): x for x in old.lines}
    by_id = {x.id: x for x in old.lines}
    for line in new.lines:
        known = then.get(_work(line)) or by_id.get(line.id)
        where = f" ({joined(line.positions)})" if line.positions else ""
        if _work(line) not in then and line.kind in ("labour", "sublet"):
            ask(f"“{line.name}”{where} was not in “{old.title}” when it was agreed to.")
        elif known is not None and line.id in by_id and by_id[line.id].positions != line.positions:
            ask(f"“{line.name}” was agreed to for {joined(by_id[line.id].positions) or 'no place'}, "
                f"and is now for {joined(line.positions) or 'no place'}.")  # fmt: skip
        if known is not None and known.part_condition != line.part_condition:
            ask(f"“{line.name}” was to be {known.part_condition or 'of no stated condition'}, "
                f"and is now {line.part_condition or 'of no stated condition'}.")  # fmt: skip
        if line.amount is None and (known is None or known.amount is not None):
            ask(f"“{line.name}”{where} has no price yet.")
        elif known is not None and known.amount is None and line.amount is not None:
            ask(f"“{line.name}”{where} had no price when it was agreed to; it is {coin(line.amount)} now.")
    if old.only_if != new.only_if:
        ask(f"“{new.title}” was agreed to under another condition.")
    return found + _more(new.id, f"“{new.title}”", _top(old), _top(new), tolerance)


def _more(job: str, what: str, before: Decimal, now: Decimal, tolerance: Tolerance) -> list[AskAgain]:
    allowed = tolerance.allowed_above(before)
    if now - before <= allowed:
        return []
    room = f", {coin(allowed)} more than agreed is allowed" if allowed else ""
    text = f"{capital(what)} was agreed at {coin(before)} and is now {coin(now)}{room}."
    return [AskAgain(job=job, title=what.strip("“”"), before=before, now=now, text=text)]


def _whole_again(
    jobs: Collection[str], version: Version, newest: Version, tolerance: Tolerance
) -> list[AskAgain]:
    """Jobs each within the tolerance may be beyond it together, and supplies and tax come on top of them."""
    what = f"all that was agreed to in version {version.version}, supplies and tax included,"
    before, now = _together(jobs, version.estimate), _together(jobs, newest.estimate)
    return _more("", what, before, now, tolerance)


def _together(jobs: Collection[str], estimate: Estimate) -> Decimal:
    """What the jobs cost with supplies, discounts and tax; of ranges the upper end."""
    lines = [line for job in estimate.jobs if job.id in jobs for line in job.lines]
    terms = estimate.terms or Terms(smallest=of_units(1, estimate.currency))
    found = total(lines, terms, estimate.currency)
    return found.total if found.total_high is None else found.total_high


def _top(job: Job) -> Decimal:
    """A job's amount; of a range the upper end, because no more than that was agreed to."""
    return job.subtotal_high if job.subtotal_high is not None else job.subtotal


def _work(line: Line) -> tuple[object, ...]:
    """What is done where, whatever it is called or costs."""
    return (
        line.kind,
        line.operation,
        line.component.id if line.component else line.name,
        frozenset(line.positions),
        line.place,
        line.catalogue or line.name,
        line.name if line.kind in ("part", "fluid", "fee") else "",
    )


def _same(line: Line, other: Line, lexicon: Lexicon) -> bool:
    if line.component is None or other.component is None:
        return line.component is other.component and line.name == other.name
    component = lexicon.components.get(line.component.id)
    if line.component.id != other.component.id or component is None:
        return False
    return meet(spots_of(component, line.positions), spots_of(component, other.positions))


def _title(version: Version, job: str) -> str:
    return next((j.title for j in version.estimate.jobs if j.id == job), job)


def _unknown(known: Sequence[str], consents: Sequence[Agreement]) -> tuple[str, ...]:
    return tuple(
        f"{c.name} answered a document that is not among those issued ({c.fingerprint[:12]})."
        for c in consents
        if c.fingerprint not in known
    )
