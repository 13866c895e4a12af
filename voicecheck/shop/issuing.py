"""From a finished draft to the customer's estimate and their answer.

What is issued never changes: the view that the customer sees, the draft behind it, and the shop's prices of
that moment are kept. The price of any choice of jobs is worked out from those, not from today's prices.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any, cast

from voicecheck.catalogue.identity import load_identity, load_laws
from voicecheck.catalogue.plain_words import load_plain_words
from voicecheck.desk.consent import Agreement, Standing, Version, standing
from voicecheck.desk.decisions import Numbered, PutOff, parse_decision
from voicecheck.desk.worktop import Worktop, worktop
from voicecheck.documents import customer
from voicecheck.documents.customer import CustomerView
from voicecheck.documents.letterhead import filled_from
from voicecheck.papers import missing, statements_to_print
from voicecheck.records import Draft, Estimate, Market, RefusedError
from voicecheck.records.money import smallest_units
from voicecheck.records.papers import (
    Lack,
    LawProfile,
    Laws,
    Particulars,
    PlainWords,
    ShopIdentity,
)
from voicecheck.resources import shared_dir
from voicecheck.shop.bench import Bench, look
from voicecheck.shop.kept import stamp
from voicecheck.shop.services import Services
from voicecheck.store import desk, papers, walkarounds
from voicecheck.store.tables import Consent, Issued
from voicecheck.store.values import new_token

LINK_LASTS = timedelta(days=30)
FORM = "voicecheck-issued/1"


@dataclass(frozen=True, slots=True)
class Paperwork:
    """What the papers of one walk-around are made from."""

    shop: ShopIdentity
    laws: Laws
    profile: LawProfile
    particulars: Particulars
    words: PlainWords
    draft: Draft

    @property
    def lacks(self) -> tuple[Lack, ...]:
        """What the law of the place wants on the estimate and is not there."""
        return missing(
            shop=self.shop,
            particulars=filled_from(self.draft, self.particulars),
            estimate=self.draft.estimate,
            profile=self.profile,
        )

    def view(self) -> CustomerView:
        return customer.view(
            self.draft,
            shop=self.shop,
            particulars=self.particulars,
            words=self.words,
            statements=statements_to_print(
                shop=self.shop, estimate=self.draft.estimate, profile=self.profile
            ),
            cautions=self.laws.cautions,
            lacking=len(self.lacks),
        )


def paperwork(services: Services, bench: Bench) -> Paperwork:
    """Shop, law, particulars and plain words for a walk-around. Raises ``DataError`` for a faulty file."""
    if bench.top is None:
        raise RefusedError("There is no draft to make papers of yet.", hint="Wait until it has been drafted.")
    draft = bench.top.draft
    identity = identity_of(services, draft.market)
    laws_file = _own(services, "papers.yaml") or shared_dir() / "papers.yaml"
    laws = cast(Laws, services.files.get(stamp(laws_file), lambda: load_laws(laws_file)))
    particulars = particulars_of(bench)
    chosen = str(bench.row.particulars.get("place", "")) or identity.place
    profile = laws.of(chosen) or laws.of("plain") or laws.profiles[0]
    words = _plain_words(services, draft.market)
    return Paperwork(identity, laws, profile, particulars, words, draft)


def identity_of(services: Services, market: Market) -> ShopIdentity:
    """The shop as its papers name it. Raises ``DataError`` for a faulty file."""
    file = _own(services, "shop.yaml") or shared_dir() / f"shop.{market.lower()}.yaml"
    return cast(ShopIdentity, services.files.get(stamp(file), lambda: load_identity(file)))


def _plain_words(services: Services, market: Market) -> PlainWords:
    file, lexicon = shared_dir() / "plain_words.yaml", services.workshop(market).lexicon
    key = (*stamp(file), market, id(lexicon))
    made = services.files.get(
        key, lambda: load_plain_words(file, components=lexicon.components, market=market)
    )
    return cast(PlainWords, made)


def _own(services: Services, name: str) -> Path | None:
    path = services.settings.shop_folder / name
    return path if path.exists() else None


def particulars_of(bench: Bench) -> Particulars:
    """What was typed for the papers, with what is known of the vehicle and its customer."""
    typed: Mapping[str, Any] = bench.row.particulars.get("papers", {})
    vehicle = bench.listed.vehicle
    known: dict[str, Any] = {"customer": {}, "vehicle": {}, "document": {}}
    if vehicle is not None:
        known["customer"] = {k: v for k, v in vehicle.customer.items() if k in ("name", "phone", "email")}
        known["vehicle"] = {"plate": vehicle.plate, "vin": vehicle.vin}
    complaint = str(bench.row.particulars.get("complaint", ""))
    known["document"] = {
        "complaint": complaint,
        "number": bench.row.id[:8].upper(),
        "given_in": f"{bench.row.created.astimezone():%Y-%m-%dT%H:%M}",
    }
    merged = {
        part: {**known.get(part, {}), **{k: v for k, v in typed.get(part, {}).items() if v not in ("", None)}}
        for part in ("customer", "vehicle", "document")
    }
    other = typed.get("authorised_other")
    return Particulars.model_validate({**merged, "authorised_other": other or None})


# -- issuing -------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Chosen:
    """What the advisor lets the customer see and hear beside the words: photos, and findings' seconds."""

    photos: tuple[str, ...] = ()
    findings: tuple[str, ...] = ()


def issue(
    services: Services, *, walkaround: str, seq: int, person: str, chosen: Chosen
) -> tuple[Issued, str]:
    """Issues the estimate as it stands after decision ``seq``; the row and the token of the customer's link.

    Raises ``RefusedError`` naming what is still open or missing, ``StaleError`` after somebody's change.
    """
    bench = look(services, walkaround)
    work = paperwork(services, bench)
    assert bench.top is not None
    if bench.top.hindrances:
        first, more = bench.top.hindrances[0].text, len(bench.top.hindrances) - 1
        raise RefusedError(
            f"It cannot be issued yet: {first}" + (f" And {more} more." if more else ""),
            hint="Settle what is open on the draft first.",
        )
    if work.lacks:
        raise RefusedError(
            "It cannot be issued yet: " + " ".join(lack.sentence for lack in work.lacks),
            hint="Fill in what is missing under Papers.",
        )
    view, estimate = work.view(), work.draft.estimate
    workshop = services.workshop(work.draft.market)
    known = {p.id for p in bench.photos}
    behind = {
        "form": FORM,
        "draft": work.draft.model_dump(mode="json", by_alias=True),
        "base": bench.draft_id,
        "shop": services.media.put(workshop.shop.model_dump_json(by_alias=True).encode()),
        "photos": [p for p in chosen.photos if p in known],
        "clips": _clips(bench, chosen.findings),
    }
    token, now = new_token(), services.clock()
    with services.database.session() as session:
        row = papers.issue(
            session,
            walkaround=walkaround,
            seq=seq,
            person=person,
            document=view.model_dump(mode="json"),
            draft=behind,
            total=smallest_units(estimate.totals.total, estimate.currency),
            currency=estimate.currency,
            now=now,
        )
        papers.make_link(
            session, issued=row.id, token=token, now=now, expires=now + LINK_LASTS, person=person
        )
    return row, token


def _clips(bench: Bench, findings: Sequence[str]) -> list[dict[str, Any]]:
    """The seconds of the first words of each finding, on its take's own clock."""
    assert bench.top is not None
    found = []
    for finding in bench.top.draft.findings:
        if finding.id not in findings:
            continue
        for span in finding.heard:
            if span.start is None or span.end is None:
                continue
            at = span.start
            take = next((t for t in bench.takes if t.start <= at < t.start + t.seconds), None)
            if take is None or take.gone:
                continue
            begin = max(0.0, at - take.start - 0.2)
            found.append(
                {
                    "finding": finding.id,
                    "take": take.id,
                    "from": round(begin, 2),
                    "to": round(min(span.end - take.start + 0.3, take.seconds), 2),
                    "words": span.read,
                    "video": take.video,
                }
            )
            break
    return found


# -- what was issued -----------------------------------------------------------------------------------------


def view_of(row: Issued) -> CustomerView:
    """The view that was issued. Raises ``RefusedError`` where the stored document was tampered with."""
    if not papers.is_unchanged(row):
        raise RefusedError("The stored estimate is not the one that was issued. Ask the shop for a new one.")
    return CustomerView.model_validate(row.document)


def draft_of(row: Issued) -> Draft:
    return Draft.model_validate(row.draft["draft"])


def estimate_of(row: Issued) -> Estimate:
    return draft_of(row).estimate


def estimate_for(services: Services, row: Issued, *, agreed: Collection[str]) -> Estimate:
    """The issued estimate with only the jobs ``agreed`` done: labour that was shared moves to those."""
    whole = estimate_of(row)
    others = [job.id for job in whole.jobs if job.id not in agreed and not job.put_off]
    if not others:
        return whole
    return _worktop_for(services, row, tuple(sorted(others))).draft.estimate


def _worktop_for(services: Services, row: Issued, others: tuple[str, ...]) -> Worktop:
    with services.database.reading() as session:
        base = Draft.model_validate(desk.draft(session, id=row.draft["base"]).document)
        decided = [
            Numbered(seq=d.seq, decision=parse_decision(d.decision))
            for d in desk.decisions(session, walkaround=row.walkaround, draft=row.draft["base"])
            if d.seq <= row.seq
        ]
    put_off = [
        Numbered(seq=row.seq + n, decision=PutOff(job=job, by="customer"))
        for n, job in enumerate(others, start=1)
    ]
    workshop = services.workshop(base.market)
    estimator = services.pinned.estimator(
        services.media, row.draft["shop"], lexicon=workshop.lexicon, market=base.market
    )
    return worktop(
        base,
        [*decided, *put_off],
        lexicon=workshop.lexicon,
        shop=estimator.shop,
        market=base.market,
        estimator=estimator,
    )


# -- what was answered ---------------------------------------------------------------------------------------


def said_of(row: Consent) -> Agreement:
    """A kept consent as the desk's rules read it."""
    return Agreement(
        kind="withdrawal" if row.kind == "withdrawal" else "answer",
        agreed=tuple(row.agreed),
        declined=tuple(row.declined),
        fingerprint=row.fingerprint,
        name=row.name,
        means="phone" if row.means == "phone" else "in person" if row.means == "in person" else "link",
        contact=row.contact,
    )


def standing_of(services: Services, walkaround: str) -> Standing:
    """What is agreed now, over all versions. The papers promise to ask before any rise: no tolerance."""
    with services.database.reading() as session:
        versions = papers.versions(session, walkaround=walkaround)
        said = papers.consents(session, walkaround=walkaround)
    issued = [
        Version(version=v.version, fingerprint=v.fingerprint, estimate=estimate_of(v)) for v in versions
    ]
    return standing(issued, [said_of(c) for c in said if c.kind in ("answer", "withdrawal")])


def answer(
    services: Services,
    *,
    issued: Issued,
    agreed: Collection[str],
    declined: Collection[str],
    name: str,
    means: str,
    fingerprint: str,
    contact: str = "",
    person: str | None = None,
) -> Decimal:
    """Keeps an answer; the total of what was agreed to, supplies and tax included.

    Declined jobs are put off for the vehicle's next visit. When every job has been answered the walk-around
    is ``answered``. Raises ``StaleError`` for anything but the newest issued document.
    """
    here = [job for job in estimate_of(issued).jobs if not job.put_off]
    yes = [job.id for job in here if job.id in agreed]
    no = [job.id for job in here if job.id in declined]
    if not yes and not no:
        raise RefusedError("Nothing was answered.", hint="Say yes or not now for at least one job.")
    estimate = estimate_for(services, issued, agreed=yes)
    total = estimate.totals.total if yes else Decimal(0)
    now = services.clock()
    with services.database.session() as session:
        papers.add_consent(
            session,
            issued=issued.id,
            kind="answer",
            name=name,
            means=means,
            fingerprint=fingerprint,
            now=now,
            contact=contact,
            person=person,
            agreed=yes,
            declined=no,
            amount=smallest_units(total, estimate.currency),
            currency=estimate.currency,
        )
        vehicle = walkarounds.get(session, id=issued.walkaround).vehicle
        for job in here:
            if vehicle is not None and job.id in no:
                papers.put_off(
                    session,
                    vehicle=vehicle,
                    issued=issued.id,
                    job=job.id,
                    title=job.title,
                    what=job.model_dump(mode="json", by_alias=True),
                    now=now,
                    person=person,
                )
    _settle_state(services, issued.walkaround, person)
    return total


def withdraw(services: Services, *, issued: Issued, name: str, fingerprint: str, means: str = "link") -> None:
    """Takes every agreement back; what was agreed stays on record with it."""
    with services.database.session() as session:
        papers.add_consent(
            session,
            issued=issued.id,
            kind="withdrawal",
            name=name,
            means=means,
            fingerprint=fingerprint,
            now=services.clock(),
        )
    _settle_state(services, issued.walkaround, None)


def _settle_state(services: Services, walkaround: str, person: str | None) -> None:
    """ "answered" when every job of the newest version has its answer, else "issued"."""
    now = standing_of(services, walkaround)
    open_jobs = [j for j in now.jobs if j.state in ("not answered", "ask again", "withdrawn")]
    to = "issued" if open_jobs else "answered"
    with services.database.session() as session:
        row = walkarounds.get(session, id=walkaround)
        if row.state in ("issued", "answered") and row.state != to:
            walkarounds.set_state(session, id=walkaround, to=to, now=services.clock(), person=person)
