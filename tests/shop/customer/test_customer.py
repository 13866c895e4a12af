"""Issuing, the customer's link, consent, and what comes back."""

from __future__ import annotations

import re
from html import unescape

import pytest
from fastapi.testclient import TestClient
from shop_kit import Member, Shop, drafted, make_shop, silence

from voicecheck.desk.decisions import Answer, Confirm, PutAside
from voicecheck.pipeline import draft_from_transcript, text_recording, transcript_from_text
from voicecheck.shop import bench as benches
from voicecheck.shop import issuing
from voicecheck.store import desk, papers, vehicles, walkarounds

WORDS = (
    "Left front outer tie rod end has play, replace it. Front rotors are scored, replace the front rotors. "
    "Front pads are at two mil, replace the front pads. Cabin filter is dirty, replace the cabin filter. "
    "Oil pan is dry."
)

PAPERS = {
    "customer.name": "Cleo Customer",
    "customer.phone": "555-0100",
    "vehicle.make": "Sample",
    "vehicle.plate": "VAN 123",
    "place": "plain",
}


@pytest.fixture
def shop(tmp_path_factory: pytest.TempPathFactory) -> Shop:
    return make_shop(tmp_path_factory.mktemp("shop"), words=WORDS)


@pytest.fixture
def ada(shop: Shop) -> Member:
    return shop.person("advisor", "Ada")


def finished(shop: Shop, advisor: Member, *, vehicle: str | None = None) -> str:
    """A walk-around with every question answered and every line confirmed."""
    walk = drafted(shop, shop.person("technician"), recording=silence(40))
    if vehicle is not None:
        with shop.services.database.session() as session:
            walkarounds.describe(session, id=walk, now=shop.clock(), vehicle=vehicle)
    finish(shop, advisor, walk)
    return walk


def finish(shop: Shop, advisor: Member, walk: str) -> None:
    for _ in range(80):
        bench = benches.look(shop.services, walk)
        top = bench.top
        assert top is not None
        ask = next((a for a in top.asks if a.state == "open"), None)
        line = next((x for x in top.lines if x.confirmed is None and not x.put_off), None)
        if ask is not None:
            choice = ask.choices[-1] if ask.choices else ""
            decision: Answer | Confirm = Answer(key=ask.key, choice=choice, text="" if choice else "seen")
        elif line is not None:
            decision = Confirm(line=line.id, content=line.content)
        else:
            break
        benches.decide(
            shop.services,
            bench,
            expected_seq=bench.row.seq,
            person=advisor.id,
            decision=decision,
        )
    top = benches.look(shop.services, walk).top
    assert top is not None
    assert top.hindrances == ()


def issue(shop: Shop, advisor: Member, walk: str, **fields: object) -> tuple[str, str]:
    """Issues it through the page; the path of the customer's link and the fingerprint."""
    client = shop.client(advisor)
    client.post(f"/desk/{walk}/particulars", data=PAPERS)
    seq = benches.look(shop.services, walk).row.seq
    answer = client.post(f"/desk/{walk}/issue", data={"seq": str(seq), **fields})
    assert answer.status_code == 200, answer.text
    path = re.search(r'href="https?://[^/"]+(/c/[^"]+)"', answer.text)
    assert path is not None
    with shop.services.database.reading() as session:
        row = papers.latest_issued(session, walkaround=walk)
    assert row is not None
    return path[1], row.fingerprint


def jobs_of(shop: Shop, walk: str) -> list[str]:
    with shop.services.database.reading() as session:
        row = papers.latest_issued(session, walkaround=walk)
    assert row is not None
    return [job.id for job in issuing.estimate_of(row).jobs]


@pytest.fixture
def walk(shop: Shop, ada: Member) -> str:
    return finished(shop, ada)


@pytest.fixture
def phone(shop: Shop) -> TestClient:
    return shop.client()


def test_an_open_draft_is_not_issued(shop: Shop, ada: Member) -> None:
    walk = drafted(shop, shop.person("technician"), recording=silence(40))
    answer = shop.client(ada).post(f"/desk/{walk}/issue", data={"seq": "0"})
    assert answer.status_code == 409
    assert "cannot be issued yet" in unescape(answer.text)
    with shop.services.database.reading() as session:
        assert papers.versions(session, walkaround=walk) == []


def test_missing_particulars_keep_it_from_being_issued(shop: Shop, ada: Member, walk: str) -> None:
    client = shop.client(ada)
    client.post(f"/desk/{walk}/particulars", data={"place": "florida"})
    seq = benches.look(shop.services, walk).row.seq
    answer = client.post(f"/desk/{walk}/issue", data={"seq": str(seq)})
    assert answer.status_code == 409
    assert "odometer" in unescape(answer.text).lower()


def test_the_customer_sees_words_prices_and_cautions(
    shop: Shop, ada: Member, walk: str, phone: TestClient
) -> None:
    path, fingerprint = issue(shop, ada, walk)
    page = unescape(phone.get(path).text)
    assert "Left front outer tie rod end has play" in page
    assert fingerprint in page
    assert "csrf" not in page
    for job in jobs_of(shop, walk):
        assert f'name="job:{job}"' in page


def test_shared_labour_moves_to_the_job_that_remains(
    shop: Shop, ada: Member, walk: str, phone: TestClient
) -> None:
    path, _ = issue(shop, ada, walk)
    jobs = jobs_of(shop, walk)
    whole = phone.get(f"{path}/total", params={"job": jobs}).json()
    alone = {job: phone.get(f"{path}/total", params={"job": job}).json() for job in jobs}
    assert whole["total"]
    assert all(a["total"] for a in alone.values())
    dearer = [a for a in alone.values() if a["moved"]]
    assert any("instead of" in a["moved"][0] for a in dearer), (
        "steering and brakes share taking the wheel off"
    )
    assert whole["moved"] == []
    none = phone.get(f"{path}/total").json()
    assert none["total"] == ""


def test_consent_names_time_person_amount_means_and_document(
    shop: Shop, ada: Member, walk: str, phone: TestClient
) -> None:
    path, fingerprint = issue(shop, ada, walk)
    yes, *rest = jobs_of(shop, walk)
    shown = phone.get(f"{path}/total", params={"job": yes}).json()["total"]
    data = {"fingerprint": fingerprint, "name": "Cleo Customer", f"job:{yes}": "yes"}
    data |= {f"job:{job}": "no" for job in rest}
    answer = phone.post(f"{path}/answer", data=data, follow_redirects=False)
    assert answer.status_code == 303
    with shop.services.database.reading() as session:
        consents = papers.consents(session, walkaround=walk)
        state = walkarounds.get(session, id=walk).state
    (kept,) = consents
    assert (kept.name, kept.means, kept.fingerprint) == ("Cleo Customer", "link", fingerprint)
    assert kept.agreed == [yes]
    assert kept.declined == rest
    assert kept.at == shop.clock()
    assert kept.amount is not None
    assert f"{kept.amount / 100:,.2f}" in shown
    assert state == "answered"
    assert shown in unescape(phone.get(path).text)


def test_an_answer_to_another_document_is_refused(
    shop: Shop, ada: Member, walk: str, phone: TestClient
) -> None:
    path, _ = issue(shop, ada, walk)
    job = jobs_of(shop, walk)[0]
    data = {"fingerprint": "0" * 64, "name": "Cleo", f"job:{job}": "yes"}
    assert phone.post(f"{path}/answer", data=data).status_code == 409
    with shop.services.database.reading() as session:
        assert papers.consents(session, walkaround=walk) == []


def test_a_new_version_closes_the_old_one_and_asks_again_where_it_costs_more(
    shop: Shop, ada: Member, walk: str, phone: TestClient
) -> None:
    old, fingerprint = issue(shop, ada, walk)
    jobs = jobs_of(shop, walk)
    phone.post(
        f"{old}/answer",
        data={"fingerprint": fingerprint, "name": "Cleo", **{f"job:{job}": "yes" for job in jobs}},
    )
    client = shop.client(ada)
    bench = benches.look(shop.services, walk)
    line = next(x for x in bench.top.lines if x.line.kind == "labour")  # type: ignore[union-attr]
    hours = {"kind": "change_line", "seq": str(bench.row.seq), "line": line.id, "hours": "9.5"}
    assert client.post(f"/desk/{walk}/decide", data=hours, follow_redirects=False).status_code == 303
    finish(shop, ada, walk)
    new, second = issue(shop, ada, walk)
    assert second != fingerprint
    assert "newer estimate" in unescape(phone.get(old).text)
    late = {"fingerprint": fingerprint, "name": "Cleo", f"job:{jobs[0]}": "yes"}
    assert phone.post(f"{old}/answer", data=late).status_code == 409
    page = unescape(phone.get(new).text)
    assert "Please answer again" in page
    states = {j.job: j.state for j in issuing.standing_of(shop.services, walk).jobs}
    assert states[line.job] == "ask again"
    assert "agreed" in states.values()
    with shop.services.database.reading() as session:
        first = papers.consents(session, walkaround=walk)[0]
    assert first.fingerprint == fingerprint


def test_withdrawing_keeps_what_was_said(shop: Shop, ada: Member, walk: str, phone: TestClient) -> None:
    path, fingerprint = issue(shop, ada, walk)
    data = {f"job:{job}": "yes" for job in jobs_of(shop, walk)}
    phone.post(f"{path}/answer", data={"fingerprint": fingerprint, "name": "Cleo", **data})
    phone.post(f"{path}/withdraw", data={"name": "Cleo"})
    with shop.services.database.reading() as session:
        kinds = [c.kind for c in papers.consents(session, walkaround=walk)]
        state = walkarounds.get(session, id=walk).state
    assert kinds == ["answer", "withdrawal"]
    assert state == "issued"
    assert issuing.standing_of(shop.services, walk).agreed == ()


def test_links_end(shop: Shop, ada: Member, walk: str, phone: TestClient) -> None:
    path, _ = issue(shop, ada, walk)
    assert phone.get("/c/" + "x" * 43).status_code == 404
    shop.client(ada).post(f"/desk/{walk}/revoke")
    assert phone.get(path).status_code == 410
    assert phone.get(f"{path}/estimate.pdf").status_code == 410
    again = shop.client(ada).post(f"/desk/{walk}/link")
    new = re.search(r'href="https?://[^/"]+(/c/[^"]+)"', again.text)
    assert new is not None
    assert phone.get(new[1]).status_code == 200
    shop.clock.forward(days=31)
    assert phone.get(new[1]).status_code == 410


def test_only_chosen_seconds_are_heard(shop: Shop, ada: Member, walk: str, phone: TestClient) -> None:
    finding = benches.look(shop.services, walk).top.draft.findings[0]  # type: ignore[union-attr]
    path, _ = issue(shop, ada, walk, hear=[finding.id])
    sound = phone.get(f"{path}/clip/0.wav")
    assert sound.status_code == 200
    assert sound.headers["content-type"] == "audio/wav"
    assert 1_000 < len(sound.content) < 32_000 * 31
    assert phone.get(f"{path}/clip/1.wav").status_code == 404


def test_pdf_is_the_same_document(shop: Shop, ada: Member, walk: str, phone: TestClient) -> None:
    import io

    from pypdf import PdfReader

    path, fingerprint = issue(shop, ada, walk)
    answer = phone.get(f"{path}/estimate.pdf")
    assert answer.headers["content-type"] == "application/pdf"
    text = "".join(page.extract_text() for page in PdfReader(io.BytesIO(answer.content)).pages)
    assert fingerprint[:16] in text.replace("\n", "")


def test_what_was_put_off_comes_back(shop: Shop, ada: Member, phone: TestClient) -> None:
    with shop.services.database.session() as session:
        vehicle = vehicles.note_vehicle(session, now=shop.clock(), plate="VAN 123", title="blue van").id
    walk = finished(shop, ada, vehicle=vehicle)
    path, fingerprint = issue(shop, ada, walk)
    jobs = jobs_of(shop, walk)
    data = {f"job:{job}": "no" for job in jobs}
    phone.post(f"{path}/answer", data={"fingerprint": fingerprint, "name": "Cleo", **data})
    shop.clock.forward(days=90)
    ada = shop.again(ada)
    again = drafted(shop, shop.person("technician"), recording=silence(40))
    with shop.services.database.session() as session:
        walkarounds.describe(session, id=again, now=shop.clock(), vehicle=vehicle)
    page = unescape(shop.client(ada).get(f"/desk/{again}").text)
    assert "Put off at an earlier visit" in page
    back = benches.look(shop.services, again).back
    assert len(back) == len(jobs)
    client = shop.client(ada)
    client.post(f"/desk/{again}/put-off/{back[0][0]}", data={"how": "on this estimate again"})
    assert len(benches.look(shop.services, again).back) == len(jobs) - 1


def test_wear_since_the_last_visit_is_shown(shop: Shop, ada: Member) -> None:
    """Readings of two visits with their mileage: what is left and until when, with the assumption."""
    with shop.services.database.session() as session:
        vehicle = vehicles.note_vehicle(session, now=shop.clock(), plate="VAN 123").id
    walks = []
    for miles, tread in (("Eighty", "seven"), ("Ninety", "four")):
        words = f"{miles} thousand miles. Left front tire is at {tread} thirty-seconds."
        walk = drafted(shop, shop.person("technician"), recording=silence(20))
        draft = draft_from_transcript(
            shop.services.workshop("US"), transcript_from_text(words), recording=text_recording("n", words)
        )
        with shop.services.database.session() as session:
            walkarounds.describe(session, id=walk, now=shop.clock(), vehicle=vehicle)
            shop.clock.forward(minutes=1)
            document = draft.model_dump(mode="json", by_alias=True)
            desk.publish_draft(session, walkaround=walk, key=walk, document=document, now=shop.clock())
        walks.append(walk)
        shop.clock.forward(hours=1)
    client = shop.client(ada)
    assert "Worn since an earlier visit" not in client.get(f"/desk/{walks[0]}").text
    page = unescape(client.get(f"/desk/{walks[1]}").text)
    assert "Worn since an earlier visit" in page
    assert "between 93750 and 102500 mi" in page


def test_an_answer_by_phone_needs_the_number(shop: Shop, ada: Member, walk: str) -> None:
    _, fingerprint = issue(shop, ada, walk)
    client = shop.client(ada)
    job = jobs_of(shop, walk)[0]
    data = {"fingerprint": fingerprint, "name": "Cleo", "means": "phone", f"job:{job}": "yes"}
    assert client.post(f"/desk/{walk}/answer", data=data).status_code == 422
    assert client.post(f"/desk/{walk}/answer", data={**data, "contact": "555-0142"}).status_code == 303
    with shop.services.database.reading() as session:
        (kept,) = papers.consents(session, walkaround=walk)
    assert (kept.means, kept.contact, kept.person) == ("phone", "555-0142", ada.id)


def test_a_question_reaches_the_desk_and_the_reply_the_customer(
    shop: Shop, ada: Member, walk: str, phone: TestClient
) -> None:
    path, _ = issue(shop, ada, walk)
    phone.post(f"{path}/ask", data={"text": "Can the filter wait <b>a year</b>?", "name": "Cleo"})
    client = shop.client(ada)
    asked = client.get(f"/desk/{walk}").text
    assert "Can the filter wait &lt;b&gt;a year&lt;/b&gt;?" in asked
    client.post(f"/desk/{walk}/reply", data={"text": "It can wait until the next service."})
    assert "It can wait until the next service." in phone.get(path).text
    assert "Can the filter wait" not in client.get(f"/desk/{walk}").text
    assert issuing.standing_of(shop.services, walk).agreed == ()


def test_putting_a_finding_aside_takes_it_off_the_papers(shop: Shop, ada: Member, phone: TestClient) -> None:
    walk = finished(shop, ada)
    bench = benches.look(shop.services, walk)
    filter_ = next(f for f in bench.top.draft.findings if "cabin" in f.component.name.lower())  # type: ignore[union-attr]
    benches.decide(
        shop.services,
        bench,
        expected_seq=bench.row.seq,
        person=ada.id,
        decision=PutAside(target=filter_.id, reason="not on this vehicle"),
    )
    finish(shop, ada, walk)
    path, _ = issue(shop, ada, walk)
    assert "abin air filter" not in unescape(phone.get(path).text)
