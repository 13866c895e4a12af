"""The shop's own files of work, prices, policies and identity: looked at, changed in the page, put back.

The page and an editor write the same files. What is replaced is kept in the folder ``earlier`` beside them
(``bring.keep``). Nothing faulty is written, and nothing over somebody else's change.
"""

from __future__ import annotations

import hashlib
import re
import secrets
import shutil
import tempfile
import time
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Literal

from voicecheck.bring import Earlier, Kind, Outcome, bring_table, earlier_files, put_back, sketch
from voicecheck.bring.keep import digest, replace_file
from voicecheck.catalogue import check_catalogue, check_policies, check_prices
from voicecheck.catalogue.identity import check_identity
from voicecheck.lexicon import Lexicon, load_lexicon
from voicecheck.records import DataError, InputError, NotThereError, Problem, RefusedError, StaleError
from voicecheck.resources import lexicon_dir, shared_dir
from voicecheck.shop.services import Services
from voicecheck.store import history

Name = Literal["catalogue", "prices", "policies", "shop"]
NAMES: tuple[Name, ...] = ("catalogue", "prices", "policies", "shop")
TITLES: Mapping[Name, str] = {
    "catalogue": "Work",
    "prices": "Prices",
    "policies": "Policies",
    "shop": "Who the shop is",
}
MOST_TEXT = 400_000  # characters of a file that is edited in the page
MOST_TABLE = 30 * 1024**2  # bytes of an uploaded table
TABLES = (".csv", ".xlsx", ".txt", ".tsv")
STASH_S = 86400.0  # how long an uploaded table waits to be adopted


@dataclass(frozen=True, slots=True)
class DataFile:
    """One of the files as it is. ``text`` is empty for the catalogue, which is too long to be typed."""

    name: Name
    title: str
    path: Path
    own: bool  # else the shipped example is in use
    text: str
    sha256: str
    changed: datetime | None
    problems: tuple[Problem, ...] = ()
    earlier: tuple[Earlier, ...] = ()
    unread: str = ""  # why it cannot be shown

    @property
    def faults(self) -> list[Problem]:
        return [p for p in self.problems if p.severity == "error"]


def name_of(text: str) -> Name:
    """Raises ``NotThereError`` for anything but one of the files."""
    if text not in NAMES:
        raise NotThereError("There is no such file of the shop.")
    return text


def path_of(services: Services, name: Name) -> Path:
    """Where the shop's own file is, or would be."""
    folder, market = services.settings.shop_folder, services.settings.market.lower()
    if name == "catalogue":
        return folder / "catalogue.csv"
    if name == "prices" and (folder / f"prices.{market}.yaml").exists():
        return folder / f"prices.{market}.yaml"
    return folder / f"{name}.yaml"


def example_of(services: Services, name: Name) -> Path:
    """The shipped example."""
    market = services.settings.market.lower()
    return (
        shared_dir()
        / {
            "catalogue": "catalogue.csv",
            "prices": f"prices.{market}.yaml",
            "policies": "policies.yaml",
            "shop": f"shop.{market}.yaml",
        }[name]
    )


def look(services: Services, name: Name, *, lexicon: Lexicon | None = None) -> DataFile:
    """The file as it is now, with what is wrong with it."""
    own = path_of(services, name)
    path = own if own.exists() else example_of(services, name)
    lexicon = lexicon or words_of(services)
    text, unread = "", ""
    try:
        data = path.read_bytes()
        if name != "catalogue":
            text = data.decode("utf-8-sig")
    except (OSError, UnicodeDecodeError):
        unread, data = f"{path} cannot be read as text in UTF-8. Save it in UTF-8 with an editor.", b""
    return DataFile(
        name=name,
        title=TITLES[name],
        path=path,
        own=own.exists(),
        text=text.replace("\r\n", "\n"),
        sha256=digest(own),
        changed=datetime.fromtimestamp(path.stat().st_mtime).astimezone() if own.exists() else None,
        problems=tuple(_check(name, path, lexicon, services)),
        earlier=earlier_files(own),
        unread=unread,
    )


def words_of(services: Services) -> Lexicon:
    """The shop's words, or the shipped ones where the shop's files have a fault: these pages mend it."""
    try:
        return services.workshop(services.settings.market).lexicon
    except DataError:
        return load_lexicon(lexicon_dir(), market=services.settings.market)


def _check(name: Name, path: Path, lexicon: Lexicon, services: Services) -> list[Problem]:
    components, conditions = lexicon.components.keys(), lexicon.conditions.keys()
    if name == "catalogue":
        return check_catalogue(path, component_ids=components)
    if name == "policies":
        return check_policies(path, component_ids=components, condition_ids=conditions)
    if name == "shop":
        return check_identity(path)
    found = check_prices(path, component_ids=components)
    if not any(p.severity == "error" for p in found):
        found += _other_market(path, services)
    return found


def _other_market(path: Path, services: Services) -> list[Problem]:
    from voicecheck.catalogue import load_prices

    profile, market = load_prices(path), services.settings.market
    if profile.market == market:
        return []
    message = f"the prices are for {profile.market} and the shop is in {market}"
    return [Problem(file=path.name, row=None, field="market", message=message)]


def save_text(services: Services, name: Name, *, text: str, seen: str, person: str) -> tuple[Problem, ...]:
    """Writes ``text`` as the shop's own file; the doubts about it.

    ``seen`` is the sha256 of the file that the page showed ("": none of the shop's own). Raises ``DataError``
    with all faults (nothing is written then) and ``StaleError`` where the file was changed meanwhile.
    """
    if name == "catalogue":
        raise RefusedError("The catalogue is brought as a table, not typed.")
    if len(text) > MOST_TEXT:
        raise InputError(f"The text has {len(text):,} characters; at most {MOST_TEXT:,} fit.")
    own = path_of(services, name)
    _refuse_stale(own, seen)
    data = (text.replace("\r\n", "\n").rstrip() + "\n").encode("utf-8")
    problems = _faults_of(services, name, own.name, data)
    own.parent.mkdir(parents=True, exist_ok=True)
    if digest(own) == hashlib.sha256(data).hexdigest():
        return problems
    replace_file(own, data, before=seen, today=services.clock().date())
    _record(services, "shop file changed", own, before=seen, person=person)
    return problems


def put_earlier_back(services: Services, name: Name, *, number: int, seen: str, person: str) -> Earlier:
    """An earlier file again; what is there now is kept too. Raises ``DataError`` where it would not do."""
    own = path_of(services, name)
    _refuse_stale(own, seen)
    wanted = next((e for e in earlier_files(own) if e.number == number), None)
    if wanted is None:
        raise NotThereError(f"There is no earlier {own.name} with the number {number}.")
    _faults_of(services, name, own.name, wanted.path.read_bytes())
    restored, _ = put_back(own, number=number, today=services.clock().date())
    _record(services, "shop file put back", own, before=seen, person=person, number=number)
    return restored


def _refuse_stale(own: Path, seen: str) -> None:
    if digest(own) != seen:
        raise StaleError(
            f"{own.name} was changed meanwhile, by somebody else or with an editor; nothing was saved.",
            hint="Load the page again and make your change to the file as it is now.",
        )


def _faults_of(services: Services, name: Name, file: str, data: bytes) -> tuple[Problem, ...]:
    """The doubts about a file that would be written. Raises ``DataError`` with all problems."""
    with tempfile.TemporaryDirectory(prefix="voicecheck-data-") as folder:
        candidate = Path(folder) / file
        candidate.write_bytes(data)
        problems = _check(name, candidate, words_of(services), services)
    errors = [p for p in problems if p.severity == "error"]
    if errors:
        count = "one fault" if len(errors) == 1 else f"{len(errors)} faults"
        raise DataError(f"Nothing was saved: there is {count} in it.", problems=errors)
    return tuple(problems)


def _record(
    services: Services, what: str, own: Path, *, before: str, person: str, number: int | None = None
) -> None:
    details = {"file": own.name, "before": before, "after": digest(own), "number": number}
    with services.database.session() as session:
        history.record(session, what=what, now=services.clock(), person=person, details=details)


# -- tables --------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Tried:
    """An uploaded table, tried without writing anything."""

    token: str
    kind: Kind
    file: str
    mapping: str
    outcome: Outcome | None  # None: there is only a mapping to start from
    seen: str  # sha256 of the file that it was compared with
    problem: str = ""


def stash(services: Services, *, file: str, content: bytes) -> str:
    """Keeps an uploaded table until it is adopted, a day at most; its token."""
    name = re.sub(r"[^A-Za-z0-9._ -]", "_", file.replace("\\", "/").rpartition("/")[2]).strip(" .")[-80:]
    if Path(name).suffix.lower() not in TABLES:
        raise InputError(
            f"“{name or 'This file'}” is no table that can be read.", hint="Save it as .xlsx or .csv."
        )
    if not content:
        raise InputError(f"“{name}” is empty.")
    folder = _stashes(services)
    _sweep(folder)
    token = secrets.token_hex(16)
    (folder / token).mkdir(parents=True)
    (folder / token / name).write_bytes(content)
    return token


def try_table(
    services: Services, *, kind: Kind, token: str, mapping: str, adopt: bool = False, seen: str = ""
) -> Tried:
    """Reads a stashed table with ``mapping``; without one, makes a mapping to start from.

    With ``adopt`` it is written if there is no fault and the shop's file is still the one with the sha256
    ``seen``. Raises ``InputError`` and ``DataError`` for what cannot be used at all.
    """
    file = _stashed(services, token)
    lexicon, folder = words_of(services), services.settings.shop_folder
    if not mapping.strip():
        return Tried(token, kind, file.name, sketch(file, kind=kind, lexicon=lexicon), None, "")
    if len(mapping) > MOST_TEXT:
        raise InputError("The mapping is far too long to be one.")
    plan = file.parent / "mapping.map.yaml"
    plan.write_text(mapping.replace("\r\n", "\n"), encoding="utf-8")
    if adopt:
        folder.mkdir(parents=True, exist_ok=True)
    try:
        outcome = bring_table(
            kind, file, plan, to=folder, lexicon=lexicon, today=services.clock().date(), dry_run=True
        )
        if adopt and not outcome.errors:
            if digest(outcome.target) != seen:
                raise StaleError(
                    f"{outcome.target.name} was changed meanwhile; nothing was written.",
                    hint="Look at the differences once more.",
                )
            outcome = bring_table(kind, file, plan, to=folder, lexicon=lexicon, today=services.clock().date())
    except (DataError, InputError) as error:
        if isinstance(error, NotThereError):
            raise
        problem = f"{error.message} {error.hint}".strip()
        return Tried(token, kind, file.name, mapping, None, "", problem)
    return Tried(token, kind, file.name, mapping, outcome, digest(outcome.target))


def adopt_table(services: Services, *, kind: Kind, token: str, mapping: str, seen: str, person: str) -> Tried:
    """As ``try_table``, and written; the stashed table goes."""
    tried = try_table(services, kind=kind, token=token, mapping=mapping, adopt=True, seen=seen)
    if tried.outcome is not None and tried.outcome.written:
        _record(services, "shop file brought", tried.outcome.target, before=seen, person=person)
        shutil.rmtree(_stashes(services) / token, ignore_errors=True)
    return tried


def _stashes(services: Services) -> Path:
    return services.settings.data / "cache" / "tables"


def _stashed(services: Services, token: str) -> Path:
    folder = _stashes(services) / token
    found = []
    if re.fullmatch(r"[0-9a-f]{32}", token) and folder.is_dir():
        found = [p for p in folder.iterdir() if p.suffix.lower() in TABLES]
    if not found:
        raise NotThereError("The table is not here any more.", hint="Send it once more.")
    return found[0]


def _sweep(folder: Path) -> None:
    for old in folder.iterdir() if folder.is_dir() else ():
        if time.time() - old.stat().st_mtime > STASH_S:
            shutil.rmtree(old, ignore_errors=True)
