"""From a correction at the desk to a word that is understood, and back."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from owner_kit import UNPLACED, WORDS, OwnShop, correct, own_shop, parts_of
from shop_kit import drafted, silence

from voicecheck.desk.corrections import Suggestion
from voicecheck.desk.decisions import SettleUnplaced, Undo
from voicecheck.records import DataError, OutputError, RefusedError, StaleError
from voicecheck.shop import bench as benches
from voicecheck.shop import learning
from voicecheck.store import history, owner
from voicecheck.store.tables import SuggestionRow

PART = "sway_bar_bushing"


@pytest.fixture(scope="module")
def own(tmp_path_factory: pytest.TempPathFactory) -> Iterator[OwnShop]:
    made = own_shop(tmp_path_factory.mktemp("shop"), words=WORDS)
    yield made
    made.shop.services.database.close()


def rows_of(own: OwnShop, state: str | None = "open") -> list[SuggestionRow]:
    with own.shop.services.database.reading() as session:
        return owner.suggestions(session, state=state)


def through_the_pages(own: OwnShop, row: SuggestionRow, **fields: str) -> str:
    """Marks one suggestion, waits for the look at past drafts; the address of it."""
    form = {"chosen": row.id, f"kind_{row.id}": row.kind, f"words_{row.id}": row.what["words"]}
    form |= {f"{name}_{row.id}": value for name, value in fields.items()}
    answer = own.client.post("/owner/words/try", data=form)
    assert answer.status_code == 303, answer.text
    address = answer.headers["location"]
    until = time.monotonic() + 60
    while not own.client.get(f"{address}/state").json()["ended"]:
        assert time.monotonic() < until, "the look at past drafts did not end"
        time.sleep(0.05)
    return str(address)


def test_a_correction_is_learned_and_taken_back(own: OwnShop) -> None:
    """The whole way, through the pages: suggested, tried, adopted, understood, taken back, forgotten."""
    shop, tess = own.shop, own.shop.person("technician")
    services = shop.services
    first = drafted(shop, tess, title="green coupe", recording=silence(30))
    assert PART not in parts_of(shop, first)
    correct(shop, first, words="snubber ring", component=PART)

    page = own.page("/owner/words")
    assert "snubber ring" in page
    assert "green coupe" in page
    [row] = [r for r in rows_of(own) if r.kind == "name"]
    [sentence] = row.sentences
    assert sentence["walkaround"] == first
    assert "snubber ring" in sentence["text"]
    own.page("/owner/words")
    assert len(rows_of(own)) == 1  # looked at again: nothing is suggested twice
    assert rows_of(own)[0].sentences == [sentence]

    part = services.workshop("US").lexicon.components[PART].name
    address = through_the_pages(own, row, part=part)
    assert not (own.folder / "lexicon").exists()  # a look writes nothing
    seen = own.page(address)
    assert "<strong>1 of 1</strong>" in seen
    assert "would be: " in seen
    assert "ushing" in seen
    answer = own.client.post(f"{address}/adopt", data={"note": "as Ada says"})
    assert answer.status_code == 303, answer.text
    assert "snubber ring" in (own.folder / "lexicon/components/suspension.csv").read_text()
    assert rows_of(own) == []

    second = drafted(shop, tess, title="second")
    assert PART in parts_of(shop, second)
    assert PART not in parts_of(shop, first)  # what was drafted stays as it was

    page = own.page("/owner/words")
    assert "as Ada says" in page
    assert "snubber ring" in own.page("/owner/words/versions/1")
    answer = own.client.post("/owner/words/versions/0/back")
    assert answer.status_code == 303
    assert not list((own.folder / "lexicon").rglob("*.csv"))
    third = drafted(shop, tess, title="third")
    assert PART not in parts_of(shop, third)
    [again] = rows_of(own)
    assert again.id == row.id  # taken back: it waits once more
    assert own.client.post("/owner/words/versions/1/back").status_code == 303
    assert PART in services.workshop("US").lexicon.components
    assert rows_of(own) == []  # and with the version it counts as adopted
    with services.database.reading() as session:
        assert [v.note for v in owner.lexicon_versions(session)] == [
            "Back to version 1.",
            "Back to version 0.",
            "as Ada says",
        ]
        assert history.check(session).whole
        assert {r.what for r in history.rows(session, limit=500)} >= {"suggested", "lexicon version"}


def test_edits_by_hand_are_seen_and_never_written_over(own: OwnShop) -> None:
    services, file = own.shop.services, own.folder / "lexicon/components/engine.csv"
    file.parent.mkdir(parents=True, exist_ok=True)
    lexicon = services.workshop("US").lexicon
    pan = lexicon.components["oil_pan"]
    columns = "id,name,us,uk,kind_of,part_of,places,place,sets,advice,sounds_like,notes"
    cells = (
        f"oil_pan,{pan.name},{'|'.join((*pan.us, 'drip tub'))},{'|'.join(pan.uk)},,,{'|'.join(pan.places)}"
    )
    file.write_text(f"{columns}\n# a note of ours\n{cells},,{pan.sets},,,\n")
    page = own.page("/owner/words")
    assert "Edited by hand" in page
    assert "drip tub" in page

    learning.collect(services)
    with services.database.session() as session:
        row = owner.suggest(
            session,
            key="name/oil_pan//sump bowl",
            kind="name",
            what={"component": "oil_pan", "condition": "", "words": "sump bowl"},
            sentences=[{"text": "sump bowl is wet"}],
            now=services.clock(),
        )
    chosen = learning.choice(services, id=row.id, kind="name", words="sump bowl", part=pan.name, condition="")
    preview = learning.prepare(services, [chosen])
    with pytest.raises(RefusedError, match="not been tried"):
        learning.adopt(services, preview, person=own.owner.id)
    learning.try_out(services, preview, most=1)
    assert (preview.total, preview.finished) == (1, True)
    assert preview.all_there > 1

    kept = file.read_text()
    file.write_text(kept + "# by somebody meanwhile\n")
    with pytest.raises(StaleError, match="changed meanwhile"):
        learning.adopt(services, preview, person=own.owner.id)
    assert "sump bowl" not in file.read_text()
    file.write_text(kept)
    adopted = learning.adopt(services, preview, person=own.owner.id)
    text = file.read_text()
    assert "drip tub" in text
    assert "sump bowl" in text
    assert "# a note of ours" in text
    with services.database.reading() as session:
        by_hand = owner.lexicon_version(session, number=adopted.number - 1)
        assert by_hand is not None
        assert by_hand.note == "Edited by hand."
        assert by_hand.files["components/engine.csv"] == kept
    assert learning.edited_by_hand(services) == ()
    names = services.workshop("US").lexicon.components["oil_pan"].names
    assert {"drip tub", "sump bowl"} <= set(names)


def test_a_file_that_cannot_be_written_leaves_all_as_they_were(
    own: OwnShop, monkeypatch: pytest.MonkeyPatch
) -> None:
    services = own.shop.services
    before = learning.own_files(services)
    real = learning._write
    written: list[Path] = []

    def full(path: Path, data: bytes) -> None:
        written.append(path)
        if len(written) == 2:
            raise OSError(28, "No space left on device")
        real(path, data)

    with services.database.session() as session:
        row = owner.suggest(
            session, key="k", kind="name", what={"component": "", "condition": "", "words": "x"},
            sentences=[], now=services.clock(),
        )  # fmt: skip
    meant = [
        Suggestion(kind="name", component="oil_pan", words="black tub"),
        Suggestion(kind="name", component="brake_hose", words="rubber snake"),
    ]
    preview = learning.prepare(services, [learning.Choice(row.id, m) for m in meant])
    preview.finished = True
    with services.database.reading() as session:
        number = owner.latest_lexicon_number(session)
    monkeypatch.setattr(learning, "_write", full)
    with pytest.raises(OutputError, match="no space left"):
        learning.adopt(services, preview, person=own.owner.id)
    monkeypatch.undo()
    assert len(written) > 2  # the first was put back
    assert learning.own_files(services) == before
    with services.database.reading() as session:
        assert owner.latest_lexicon_number(session) == number
        assert owner.suggestion(session, id=row.id).state == "open"
    learning.decline(services, id=row.id, reason="a try", person=own.owner.id)


def test_what_clashes_comes_back_with_a_sentence_and_what_was_typed(own: OwnShop) -> None:
    services = own.shop.services
    with services.database.session() as session:
        row = owner.suggest(
            session, key="name///brake hose", kind="name", what={"component": "", "condition": "",
            "words": "brake hose"}, sentences=[{"text": "brake hose"}], now=services.clock(),
        )  # fmt: skip
    form = {"chosen": row.id, f"kind_{row.id}": "name", f"words_{row.id}": "brake hose"}
    for part, sentence in (("oil pan", "is a name of"), ("no such thing", "no part called")):
        answer = own.client.post("/owner/words/try", data=form | {f"part_{row.id}": part})
        assert answer.status_code == 422
        assert sentence in answer.text
        assert f'value="{part}"' in answer.text
    assert "Nothing was chosen" in own.client.post("/owner/words/try", data={}).text
    answer = own.client.post(f"/owner/words/{row.id}/decline", data={f"reason_{row.id}": "no new word"})
    assert answer.status_code == 303
    page = own.page("/owner/words")
    assert "no new word" in page
    assert f'name="chosen" value="{row.id}"' not in page
    assert own.client.post("/owner/words/try/0/adopt").status_code == 409


def test_a_faulty_term_file_is_told_and_the_last_good_words_go_on(own: OwnShop) -> None:
    services, file = own.shop.services, own.folder / "lexicon/components/brakes.csv"
    good = services.workshop("US")
    before = file.read_bytes() if file.exists() else None
    columns = "id,name,us,uk,kind_of,part_of,places,place,sets,advice,sounds_like,notes"
    file.write_text(f"{columns}\nsquealer,squealer,,,no_such_part,,one,,each,,,\n")
    assert services.workshop("US") is good
    page = own.page("/owner/machine")
    assert "brakes.csv" in page
    assert "no_such_part" in page
    assert "a fault" in own.page("/desk")
    with pytest.raises(DataError, match="no_such_part"):
        learning.keep_edits(services, person=own.owner.id)
    if before is None:
        file.unlink()
    else:
        file.write_bytes(before)
    assert services.workshop.troubles() == {}
    assert "a fault and" not in own.page("/desk")


def test_words_without_a_place_wait_until_somebody_says_what_they_are(tmp_path: Path) -> None:
    """The owner may say it, or the desk; then nobody is asked any more."""
    own = own_shop(tmp_path, files=False, words=UNPLACED)
    shop = own.shop
    walk = drafted(shop, shop.person("technician"), recording=silence(30))
    bench = benches.look(shop.services, walk)
    assert bench.base is not None
    [stretch] = bench.base.unplaced
    page = own.page("/owner/words")
    assert re.search("“the thermal widget is cracked” had no place", page)
    [row] = rows_of(own)
    assert row.kind == learning.UNPLACED
    if stretch.start is not None:
        assert row.sentences[0]["take"] == bench.takes[0].id
        assert row.sentences[0]["from"] <= stretch.start <= row.sentences[0]["to"]
    decision = SettleUnplaced(first=stretch.first, last=stretch.last, how="not about the vehicle")
    benches.decide(shop.services, bench, expected_seq=0, person=shop.person("advisor").id, decision=decision)
    own.page("/owner/words")
    assert rows_of(own) == []
    bench = benches.look(shop.services, walk)
    benches.decide(shop.services, bench, expected_seq=1, person=shop.members[-1].id, decision=Undo(seq=1))
    own.page("/owner/words")
    assert [r.what["words"] for r in rows_of(own)] == ["the thermal widget is cracked"]
    shop.services.database.close()
