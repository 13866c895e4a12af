"""Work, prices, policies and the shop's name: changed in the page, by hand, by a table; put back."""

from __future__ import annotations

import csv
import io
import re
import shutil
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import pytest
from owner_kit import OwnShop, own_shop

from voicecheck.bring.keep import digest
from voicecheck.records import DataError
from voicecheck.resources import shared_dir
from voicecheck.shop.workshops import Workshops
from voicecheck.store import history

PRICES = (shared_dir() / "prices.us.yaml").read_text()


@pytest.fixture(scope="module")
def own(tmp_path_factory: pytest.TempPathFactory) -> Iterator[OwnShop]:
    made = own_shop(tmp_path_factory.mktemp("shop"), work="none")
    yield made
    made.shop.services.database.close()


def with_rate(rate: str) -> str:
    return re.sub(r"^labour_rate:.*$", f"labour_rate: {rate}", PRICES, flags=re.M)


def test_prices_are_changed_in_the_page_and_put_back(own: OwnShop) -> None:
    file = own.folder / "prices.yaml"
    assert "shipped example is in use" in own.page("/owner/data")
    page = own.page("/owner/data/prices")
    assert "labour_rate" in page
    seen = re.search(r'name="seen" value="([^"]*)"', page)
    assert seen is not None
    assert seen[1] == ""

    answer = own.client.post("/owner/data/prices", data={"text": with_rate("151.00"), "seen": ""})
    assert answer.status_code == 303, answer.text
    assert own.shop.services.workshop("US").shop.prices.labour_rate == Decimal("151.00")
    stale = own.client.post("/owner/data/prices", data={"text": with_rate("99.00"), "seen": ""})
    assert stale.status_code == 409
    assert "changed meanwhile" in stale.text

    first = digest(file)
    answer = own.client.post("/owner/data/prices", data={"text": with_rate("152.00"), "seen": first})
    assert answer.status_code == 303
    assert own.shop.services.workshop("US").shop.prices.labour_rate == Decimal("152.00")
    assert "151.00" in own.page("/owner/data/prices?earlier=1")
    assert own.client.post("/owner/data/prices/back", data={"number": 1, "seen": first}).status_code == 409
    answer = own.client.post("/owner/data/prices/back", data={"number": 1, "seen": digest(file)})
    assert answer.status_code == 303
    assert digest(file) == first
    assert own.shop.services.workshop("US").shop.prices.labour_rate == Decimal("151.00")
    with own.shop.services.database.reading() as session:
        told = [r.details for r in history.rows(session) if r.what.startswith("shop file")]
    assert told[0]["number"] == 1
    assert told[-1]["before"] == ""
    assert own.client.get("/owner/data/prices/file").text == file.read_text()


@pytest.mark.parametrize(
    ("name", "text", "says"),
    [
        ("prices", with_rate("lots"), "labour_rate"),
        ("prices", PRICES.replace("market: US", "market: UK"), "the shop is in US"),
        ("prices", "a: [", "Has to be mended"),
        ("prices", "", "Has to be mended"),
        ("policies", "sets:\n  - id: x\n    by: moon\n    says: y\n", "moon"),
        ("shop", "nane: Somebody\n", "nane"),
    ],
)
def test_what_is_faulty_is_not_saved_and_stays_on_the_page(
    own: OwnShop, name: str, text: str, says: str
) -> None:
    before = {p.name: p.read_bytes() for p in own.folder.iterdir() if p.is_file()}
    seen = digest(own.folder / f"{name}.yaml")
    answer = own.client.post(
        f"/owner/data/{name}", data={"text": text, "seen": seen}, headers={"accept": "text/html"}
    )
    assert answer.status_code == 422
    assert says in answer.text
    assert {p.name: p.read_bytes() for p in own.folder.iterdir() if p.is_file()} == before
    last = text.strip().rpartition("\n")[2]
    assert last.replace('"', "&#34;") in answer.text


def test_a_file_spoiled_by_hand_does_not_take_the_shop_down(own: OwnShop) -> None:
    file, services = own.folder / "policies.yaml", own.shop.services
    own.client.post(
        "/owner/data/policies", data={"text": (shared_dir() / "policies.yaml").read_text(), "seen": ""}
    )
    good, kept = services.workshop("US"), file.read_bytes()
    file.write_text("near_limit_percent: many\n")
    assert services.workshop("US") is good
    assert services.workshop.estimator("US").shop is good.shop
    for path in ("/owner/data", "/owner/machine", "/owner/words", "/desk"):
        page = own.page(path)
        assert "policies.yaml" in page
        assert "near_limit_percent" in page
    assert "Has to be mended" in own.page("/owner/data/policies")
    ada = own.shop.client(own.shop.person("technician"))
    assert "policies.yaml" not in ada.get("/t").text
    file.write_bytes(kept)
    assert services.workshop.troubles() == {}
    assert "has a fault" not in own.page("/desk")


def test_what_was_good_last_outlives_a_restart(own: OwnShop, tmp_path: Path) -> None:
    """The server begins with a file that cannot be read: it goes on with the copy of the last good ones."""
    own.shop.services.workshop("US")
    catalogue = own.folder / "catalogue.csv"
    catalogue.write_text("code,name\n1,x\n")
    fresh = Workshops(own.folder)
    assert fresh("US").shop.prices.labour_rate == Decimal("151.00")
    assert set(fresh.troubles()) == {"US"}
    assert "catalogue.csv" in str(fresh.troubles()["US"])
    shutil.copyfile(catalogue, tmp_path / "catalogue.csv")
    with pytest.raises(DataError, match=r"catalogue\.csv"):
        Workshops(tmp_path)("US")  # where none was ever good: one sentence
    catalogue.unlink()
    assert fresh.troubles() == {}


def test_a_catalogue_comes_as_a_table(own: OwnShop) -> None:
    """Sent without a mapping: one to start from. With one: a look, then adopted."""
    client, target = own.client, own.folder / "catalogue.csv"
    rows = list(csv.DictReader(io.StringIO((shared_dir() / "catalogue.csv").read_text())))
    for row in rows:
        if row["code"] == rows[0]["code"]:
            row["hours"] = "9.9"
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, fieldnames=list(rows[0]))
    writer.writeheader()
    writer.writerows(rows)
    table = ("../ours.csv", out.getvalue().encode(), "text/csv")
    answer = client.post("/owner/data/table", data={"kind": "catalogue"}, files={"table": table})
    assert answer.status_code == 200, answer.text
    assert "a guess" in answer.text
    token = re.search(r'name="token" value="([0-9a-f]{32})"', answer.text)
    assert token is not None
    columns = "".join(f"  {name}: {name}\n" for name in rows[0])
    mapping = f"format: voicecheck-mapping/1\nfor: catalogue\ncolumns:\n{columns}"
    form = {"kind": "catalogue", "token": token[1], "mapping": mapping}

    broken = client.post("/owner/data/table/try", data=form | {"mapping": "columns: ["})
    assert broken.status_code == 422
    assert "columns: [" in broken.text
    looked = client.post("/owner/data/table/try", data=form)
    assert looked.status_code == 200, looked.text[-3000:]
    assert "Nothing is written yet" in looked.text
    assert not target.exists()
    seen = re.search(r'name="seen" value="([^"]*)"', looked.text)
    assert seen is not None
    stale = client.post("/owner/data/table/adopt", data=form | {"seen": "0" * 64})
    assert stale.status_code == 409
    assert not target.exists()
    done = client.post("/owner/data/table/adopt", data=form | {"seen": seen[1]})
    assert done.status_code == 303, done.text
    assert "9.9" in own.page(f"/owner/data/catalogue?q={rows[0]['code']}")
    shop = own.shop.services.workshop("US").shop
    assert next(o for o in shop.catalogue.operations if o.code == rows[0]["code"]).hours == Decimal("9.9")
    assert client.post("/owner/data/table/try", data=form).status_code == 404  # the table is gone
    assert not list((own.shop.services.settings.data / "cache" / "tables").iterdir())


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("ours.exe", b"x", "no table"),
        ("ours.csv", b"", "is empty"),
        ("ours.xlsx", b"PK nothing", "ours.xlsx"),
        ("ours.csv", b"\x00\x01\x02", "ours.csv"),
    ],
)
def test_tables_that_are_none(own: OwnShop, name: str, content: bytes, says: str) -> None:
    answer = own.client.post(
        "/owner/data/table", data={"kind": "catalogue"}, files={"table": (name, content, "x/y")}
    )
    assert answer.status_code == 422
    assert says in answer.text


def test_tokens_are_no_paths(own: OwnShop) -> None:
    form = {"kind": "catalogue", "mapping": ""}
    for token in ("..", "../../shop", "0" * 32, ""):
        answer = own.client.post("/owner/data/table/try", data=form | {"token": token})
        assert answer.status_code in (404, 422)
    assert own.client.get("/owner/data/passwords").status_code == 404
