"""A copy of everything, and a shop made from it: the same in every table, file and sum, or nothing at all."""

from __future__ import annotations

import hashlib
import json
import re
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner
from fastapi.testclient import TestClient
from hypothesis import given
from hypothesis import strategies as st
from owner_kit import WORDS, OwnShop, own_shop
from shop_kit import drafted, silence
from sqlalchemy import Table, select, text
from store_kit import fresh_url

from voicecheck.cli import main
from voicecheck.records import InputError, OutputError, RefusedError, StoreError, VoicecheckError
from voicecheck.records.canonical import fingerprint
from voicecheck.shop import backup, retention
from voicecheck.shop.backup import Manifest
from voicecheck.shop.opening import open_shop
from voicecheck.shop.settings import Settings
from voicecheck.shop.web.app import create_app
from voicecheck.shop.web.auth import hash_password
from voicecheck.store import history, owner, papers, people, recordings, rows
from voicecheck.store.database import Database
from voicecheck.store.media import MediaStore
from voicecheck.store.tables import Base, Walkaround

PASSWORD = "wrench candle tuesday"


@dataclass(frozen=True)
class Copied:
    own: OwnShop
    file: Path
    issued: str  # fingerprint


@pytest.fixture(scope="module")
def copied(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Copied]:
    """A shop in which everything has happened once, and its copy."""
    folder = tmp_path_factory.mktemp("copies")
    own = own_shop(folder / "shop", files=False, words=WORDS)
    shop, services = own.shop, own.shop.services
    now = services.clock()
    walk = drafted(shop, shop.person("technician"), recording=silence(9), title="green coupe “Ü”")
    with services.database.session() as session:
        people.add_person(
            session, name="Zoë", login="zoe", role="owner", password_hash=hash_password(PASSWORD), now=now
        )
        key = services.media.put(b"a picture")
        recordings.add_photo(session, walkaround=walk, client_key="p1", media=key, kind="image/png", now=now)
        owner.set_setting(session, key="retention", value={"recordings": 90}, now=now, person=own.owner.id)
        owner.suggest(session, key="k", kind="name", what={"words": "x"}, sentences=[{"text": "é"}], now=now)
        owner.add_lexicon_version(session, files={"hotwords.csv": "phrase,market\n"}, now=now, person=None)
        behind = {"shop": services.media.put(b"{}"), "clips": [], "photos": []}
        row = papers.issue(
            session, walkaround=walk, seq=0, person=own.owner.id, document={"total": "12.50", "größe": [1.5]},
            draft=behind, total=1250, currency="USD", now=now,
        )  # fmt: skip
        papers.make_link(
            session, issued=row.id, token="t", now=now, expires=now + timedelta(days=1), person=None
        )
        papers.add_consent(
            session, issued=row.id, kind="question", name="A Customer", means="link", text="Why?",
            fingerprint=row.fingerprint, now=now,
        )  # fmt: skip
    own.folder.mkdir()
    (own.folder / "policies.yaml").write_text("near_limit_percent: 10\n")
    (own.folder / "lexicon").mkdir()
    (own.folder / "lexicon" / "hotwords.csv").write_text("phrase,market\nrotor’s scored,\n")
    file, _ = backup.backup(services, folder)
    yield Copied(own, file, row.fingerprint)
    services.database.close()


def contents(database: Database) -> dict[str, list[tuple[object, ...]]]:
    with database.reading() as session:
        return {t.name: sorted(map(tuple, session.execute(select(t))), key=repr) for t in rows.tables()}


def files_of(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def test_a_shop_made_from_its_copy_is_the_same(copied: Copied, tmp_path: Path) -> None:
    services, new = copied.own.shop.services, Settings(data=tmp_path / "deep" / "new")
    report = backup.restore(copied.file, new)
    old_rows, database = contents(services.database), Database(new.database)
    new_rows = contents(database)
    [told] = [row for row in old_rows["history"] if backup.MADE in row]
    old_rows["history"].remove(told)  # written after the rows were taken down
    assert new_rows == old_rows
    assert all(new_rows[name] for name in ("takes", "photos", "issued", "links", "consents", "suggestions"))
    assert report.rows == sum(map(len, new_rows.values()))
    media = MediaStore(new.media)
    assert set(media.keys()) == set(services.media.keys())
    assert all(media.sound(key) for key in media.keys())  # noqa: SIM118
    assert files_of(new.shop_folder) == files_of(copied.own.folder)
    with database.reading() as session:
        head = (report.manifest.history_rows, report.manifest.history_head)
        assert history.check(session, head=head).whole
        [issued] = papers.versions(session, walkaround=old_rows["issued"][0][1])  # type: ignore[arg-type]
        assert issued.fingerprint == copied.issued == fingerprint(issued.document)
        with pytest.raises(Exception, match="append-only"), database.session() as writing:
            writing.execute(text("DELETE FROM consents"))
    database.close()


def test_in_it_people_sign_in_with_their_passwords_and_nobody_is_signed_in(
    copied: Copied, tmp_path: Path
) -> None:
    new = Settings(data=tmp_path / "new")
    backup.restore(copied.file, new)
    services = open_shop(new)
    client = TestClient(create_app(services), base_url="http://testserver", follow_redirects=False)
    client.cookies.set("voicecheck", copied.own.owner.token)
    assert client.get("/owner/keeping").status_code == 303
    client.cookies.clear()
    answer = client.post("/sign-in", data={"login": "zoe", "password": PASSWORD})
    assert answer.status_code == 303
    page = client.get("/owner/keeping")
    assert page.status_code == 200
    assert 'value="90"' in page.text
    with services.database.reading() as session:
        before = history.check(session)
    assert before.whole  # goes on where it was
    services.database.close()


def test_the_download_is_a_copy_too(copied: Copied, tmp_path: Path) -> None:
    own = copied.own
    answer = own.client.post("/owner/keeping/copy")
    assert answer.status_code == 200
    assert re.search(r'filename="voicecheck-[0-9-]+\.zip"', answer.headers["content-disposition"])
    file = tmp_path / "got.zip"
    file.write_bytes(answer.content)
    assert backup.verify(file).media == backup.verify(copied.file).media
    assert "Last made" in own.page("/owner/keeping")
    own.shop.clock.forward(days=8)
    client = own.shop.client(own.shop.again(own.owner))
    assert "more than a week ago" in client.get("/owner/keeping").text


def test_the_commands(copied: Copied, tmp_path: Path) -> None:
    data = str(copied.own.shop.services.settings.data)
    run = CliRunner().invoke
    made = run(main, ["backup", str(tmp_path), "--data", data])
    assert made.exit_code == 0, made.output
    [file] = tmp_path.glob("voicecheck-*.zip")
    assert str(file) in made.output
    assert "Head of the history" in made.output
    assert file.stat().st_mode & 0o077 == 0
    for arguments, says in (
        (["backup", str(file), "--data", data], "is there already"),
        (["backup", str(tmp_path / "no" / "x.zip"), "--data", data], "no folder"),
        (["backup", str(tmp_path), "--data", str(tmp_path / "nowhere")], "no shop in"),
        (["restore", str(file)], "new folder"),
        (["restore", str(file), "--data", data], "is not empty"),
        (["restore", str(tmp_path / "no.zip"), "--data", data], "no file"),
    ):
        refused = run(main, arguments)
        assert refused.exit_code == 2, refused.output
        assert says in refused.output
        assert refused.output.count("\n") <= 2
    assert "is whole" in run(main, ["restore", str(file), "--check"]).output
    done = run(main, ["restore", str(file), "--data", str(tmp_path / "again")])
    assert done.exit_code == 0, done.output
    assert (tmp_path / "again" / "voicecheck.db").exists()
    assert not (tmp_path / "nowhere").exists()


# -- what is no copy -----------------------------------------------------------------------------------------


def changed(copied: Copied, target: Path, change: Callable[[str, bytes], tuple[str, bytes] | None]) -> Path:
    """The copy with every entry passed through ``change``; the manifest is left as it is."""
    with zipfile.ZipFile(copied.file) as old, zipfile.ZipFile(target, "w") as new:
        for name in old.namelist():
            made = change(name, old.read(name))
            if made is not None:
                new.writestr(*made)
    return target


def refused(file: Path, folder: Path) -> str:
    """The sentence; and nothing is left behind."""
    new = folder / "new"
    with pytest.raises(InputError) as error:
        backup.restore(file, Settings(data=new))
    assert not new.exists()
    assert "\n" not in error.value.message
    return error.value.message


@given(st.floats(0.0, 0.999))
def test_a_copy_cut_off_anywhere_is_refused(copied: Copied, share: float) -> None:
    data = copied.file.read_bytes()
    file = copied.file.with_name("cut.zip")
    file.write_bytes(data[: int(len(data) * share)])
    with pytest.raises(InputError, match="cannot be used"):
        backup.verify(file)


@given(st.floats(0.0, 1.0), st.integers(1, 255))
def test_a_changed_byte_is_noticed_or_does_not_matter(copied: Copied, place: float, by: int) -> None:
    """A byte of what is copied is noticed; one that no reader looks at (the date of an entry) is not."""
    data = bytearray(copied.file.read_bytes())
    at = min(int(len(data) * place), len(data) - 1)
    data[at] = (data[at] + by) % 256
    file = copied.file.with_name("byte.zip")
    file.write_bytes(bytes(data))
    try:
        report = backup.verify(file)
    except VoicecheckError:
        return
    with zipfile.ZipFile(file) as source, zipfile.ZipFile(copied.file) as good:
        for name in report.manifest.entries:
            assert source.read(name) == good.read(name)


def test_what_is_no_copy_is_told_in_one_sentence(copied: Copied, tmp_path: Path) -> None:
    plain = tmp_path / "notes.txt"
    plain.write_text("not a zip file")
    assert "no copy made by voicecheck" in refused(plain, tmp_path)
    foreign = tmp_path / "foreign.zip"
    with zipfile.ZipFile(foreign, "w") as file:
        file.writestr("hello.txt", "hello")
    assert "does not say what is in it" in refused(foreign, tmp_path)
    lacking = changed(copied, tmp_path / "a.zip", lambda n, d: None if n.startswith("media/") else (n, d))
    assert "not what it says" in refused(lacking, tmp_path)
    other = changed(copied, tmp_path / "b.zip", lambda n, d: (n, d[:-1] + b"?" if "issued" in n else d))
    assert "issued.jsonl is not what was copied" in refused(other, tmp_path)
    longer = changed(copied, tmp_path / "c.zip", lambda n, d: (n, d + b" " if "issued" in n else d))
    assert "another size" in refused(longer, tmp_path)


def retold(copied: Copied, target: Path, change: Callable[[dict[str, bytes]], None]) -> Path:
    """A copy by somebody who makes the sums fit too."""
    with zipfile.ZipFile(copied.file) as old:
        entries = {name: old.read(name) for name in old.namelist()}
    told = Manifest.model_validate_json(entries.pop(backup.MANIFEST))
    change(entries)
    sums = {n: {"sha256": hashlib.sha256(d).hexdigest(), "size": len(d)} for n, d in entries.items()}
    with zipfile.ZipFile(target, "w") as new:
        for name, data in entries.items():
            info = zipfile.ZipInfo(name)
            info.filename = name
            new.writestr(info, data)
        new.writestr(backup.MANIFEST, json.dumps({**json.loads(told.model_dump_json()), "entries": sums}))
    return target


@pytest.mark.parametrize(
    "name",
    [
        "../evil.txt", "/etc/evil", "shop/../../evil", "shop//evil", "shop/.hidden", "shop\\..\\evil",
        "media/x", "shop/", "rows/../x.jsonl", "media/" + "A" * 64, "shop/a\nb", "shop/..", "other/thing",
    ],
)  # fmt: skip
def test_no_name_leads_out_of_the_folder(copied: Copied, tmp_path: Path, name: str) -> None:
    file = retold(copied, tmp_path / "x.zip", lambda entries: entries.__setitem__(name, b"evil"))
    assert "does not belong into one" in refused(file, tmp_path)
    assert not list(tmp_path.parent.rglob("*evil*"))


def test_a_history_that_was_rewritten_is_refused(copied: Copied, tmp_path: Path) -> None:
    def rewrite(entries: dict[str, bytes]) -> None:
        entries["rows/history.jsonl"] = entries["rows/history.jsonl"].replace(b"drafted", b"dreamed")

    assert "history is broken" in refused(retold(copied, tmp_path / "x.zip", rewrite), tmp_path)


def test_an_issued_estimate_that_was_rewritten_is_refused(copied: Copied, tmp_path: Path) -> None:
    def rewrite(entries: dict[str, bytes]) -> None:
        entries["rows/issued.jsonl"] = entries["rows/issued.jsonl"].replace(b'"12.50"', b'"99.50"')

    assert "not as it was issued" in refused(retold(copied, tmp_path / "x.zip", rewrite), tmp_path)


@pytest.mark.parametrize(
    ("old", "new"), [(b'"id"', b'"di"'), (b"{", b"["), (b'"created":"2031', b'"created":"soon')]
)
def test_rows_that_are_none_are_refused(copied: Copied, tmp_path: Path, old: bytes, new: bytes) -> None:
    def rewrite(entries: dict[str, bytes]) -> None:
        entries["rows/people.jsonl"] = entries["rows/people.jsonl"].replace(old, new, 1)

    assert "does not belong into the table people" in refused(
        retold(copied, tmp_path / "x.zip", rewrite), tmp_path
    )


def test_a_copy_of_a_newer_version_is_not_guessed_at(copied: Copied, tmp_path: Path) -> None:
    def newer(name: str, data: bytes) -> tuple[str, bytes]:
        return name, data.replace(b'"tables": "0001"', b'"tables": "9999"')

    assert "newer voicecheck" in refused(changed(copied, tmp_path / "x.zip", newer), tmp_path)


# -- where it cannot be --------------------------------------------------------------------------------


def test_nothing_is_put_over_what_is_there(copied: Copied, tmp_path: Path) -> None:
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "diary.txt").write_text("mine")
    with pytest.raises(RefusedError, match="is not empty"):
        backup.restore(copied.file, Settings(data=tmp_path / "full"))
    assert files_of(tmp_path / "full") == {"diary.txt": b"mine"}
    services = copied.own.shop.services
    before = contents(services.database)
    elsewhere = Settings(data=tmp_path / "new", database_url=services.settings.database)
    with pytest.raises(RefusedError, match="has a shop in it already"):
        backup.restore(copied.file, elsewhere)
    there = Settings(data=tmp_path / "new", media_url=services.settings.media)
    keys = set(services.media.keys())
    with pytest.raises(RefusedError, match="is not empty"):
        backup.restore(copied.file, there)
    assert contents(services.database) == before
    assert set(services.media.keys()) == keys
    assert not (tmp_path / "new").exists()


def test_settings_of_the_new_machine_stay(copied: Copied, tmp_path: Path) -> None:
    (tmp_path / "settings.toml").write_text("port = 9000\n")
    backup.restore(copied.file, Settings(data=tmp_path))
    assert (tmp_path / "settings.toml").read_text() == "port = 9000\n"


def test_a_full_disk_leaves_no_half_copy(
    copied: Copied, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    services = copied.own.shop.services
    real = backup._add_media

    def full(*arguments: object) -> Iterator[bytes]:
        yield from real(*arguments)  # type: ignore[arg-type]
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(backup, "_add_media", full)
    with pytest.raises(OutputError, match="the disk is full"):
        backup.backup(services, tmp_path / "x.zip")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("where", ["media", "shop", "rows"])
def test_a_full_disk_leaves_no_half_shop(
    copied: Copied, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, where: str
) -> None:
    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    def full_store(*_: object, **__: object) -> None:
        raise StoreError("The database cannot be written: the disk is full.")

    if where == "media":
        monkeypatch.setattr("voicecheck.store.media.os.fsync", full)
    elif where == "shop":
        monkeypatch.setattr(backup, "_put_file", full)
    else:
        monkeypatch.setattr(rows, "put", full_store)
    new = tmp_path / "new"
    with pytest.raises((OutputError, StoreError), match=r"disk is full|no space left"):
        backup.restore(copied.file, Settings(data=new))
    assert not new.exists()
    monkeypatch.undo()
    backup.restore(copied.file, Settings(data=new))


def test_what_is_missing_or_damaged_already_is_told(tmp_path: Path) -> None:
    """The rest is copied all the same, and the shop that is made from it says that the recording is gone."""
    own = own_shop(tmp_path, files=False, work="none")
    services = own.shop.services
    with services.database.session() as session:
        pass
    walk = drafted(own.shop, own.shop.person("technician"), recording=silence(3))
    lost, spoiled = services.media.put(b"lost"), services.media.put(b"spoiled")
    with services.database.session() as session:
        for key in (lost, spoiled):
            recordings.add_photo(
                session,
                walkaround=walk,
                client_key=key[:8],
                media=key,
                kind="image/png",
                now=services.clock(),
            )
    services.media.delete(lost)
    next((services.settings.data / "media").rglob(spoiled)).write_bytes(b"spoilt!")
    file, report = backup.backup(services, tmp_path)
    assert report.manifest.missing == (lost,)
    assert report.manifest.damaged == (spoiled,)
    assert "missing already" in backup.sums(report)
    new = Settings(data=tmp_path / "new")
    backup.restore(file, new)
    assert set(MediaStore(new.media).keys()) == set(services.media.keys()) - {spoiled}
    services.database.close()


def test_every_table_is_in_a_copy_or_left_out_on_purpose() -> None:
    names: set[Table] = set(Base.metadata.tables.values()) - set(rows.tables())
    assert {t.name for t in names} == {"sessions"}


def test_the_machine_page(copied: Copied) -> None:
    own = copied.own
    client = own.shop.client(own.shop.again(own.owner))
    page = client.get("/owner/machine").text
    assert "No worker has ever begun" in page
    assert "SQLite" in page
    assert own.shop.services.settings.model in page
    checked = client.post("/owner/machine/check").text
    assert "Whole: " in checked
    with own.shop.services.database.reading() as session:
        head = history.check(session).head
    assert head in checked


def test_a_copy_of_one_kind_of_database_makes_the_other(copied: Copied, tmp_path: Path) -> None:
    """SQLite to Postgres, and from there to SQLite again: the same rows."""
    with fresh_url("postgres", tmp_path) as url:
        settings = Settings(data=tmp_path / "new", database_url=url)
        backup.restore(copied.file, settings)
        database = Database(url)
        services = replace(
            copied.own.shop.services, settings=settings, database=database, media=MediaStore(settings.media)
        )
        assert retention.plan(services, retention.Rule(recordings=36_500, photos=36_500)).takes == ()
        with database.reading() as session:
            key = papers.versions(session, walkaround=session.scalars(select(Walkaround.id)).one())[0]
            assert recordings.unused(session, keys=["x", key.draft["shop"]]) == ("x",)
        there = contents(database)
        file, _ = backup.backup(services, tmp_path)
        database.close()
    backup.restore(file, Settings(data=tmp_path / "back"))
    back = Database(Settings(data=tmp_path / "back").database)
    assert contents(back) == there
    back.close()
