"""The shop's own words, work and prices, read again when a file has changed.

In the shop's folder: ``lexicon/`` (term files over the shipped ones), ``catalogue.csv``, ``prices.yaml`` (or
one for each market: ``prices.us.yaml``, ``prices.uk.yaml``), ``policies.yaml``, ``shop.yaml``. What is not
there is the shipped example. A file edited by hand and one edited in the pages are the same file.
"""

from __future__ import annotations

import hashlib
import logging
import secrets
import shutil
import threading
from collections import OrderedDict
from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path

from voicecheck.catalogue import load_shop
from voicecheck.desk.estimator import Estimator
from voicecheck.pipeline import Workshop, load_workshop
from voicecheck.records import VoicecheckError
from voicecheck.records.vocabulary import Market

log = logging.getLogger("voicecheck.shop")

LEXICON = "lexicon"
GOOD = ".good"  # in the shop's folder: the files that were read last without a fault, by market
MADE_KEPT = 3

State = tuple[object, ...]


class Workshops:
    """Loads once, and again after a change. Safe to call from several threads.

    A change that cannot be read (a fault in a file) does not take the shop down: what was good last goes on,
    also after a restart (a copy of it is kept in ``.good``), and ``troubles`` says what is wrong until the
    file is mended.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._lock = threading.Lock()
        self._kept: dict[str, tuple[State, Workshop, Estimator]] = {}
        self._failed: dict[str, tuple[State, VoicecheckError]] = {}
        self._made: OrderedDict[tuple[str, str], Workshop] = OrderedDict()
        self._made_lock = threading.Lock()

    def __call__(self, market: str) -> Workshop:
        """The workshop as its files are now, or the last good one.

        Raises ``DataError`` with the faults of a file where none has been good since the start.
        """
        return self._now(market)[0]

    def estimator(self, market: str) -> Estimator:
        """Estimates of the shop as it is now, remembered as long as no file changes."""
        return self._now(market)[1]

    def troubles(self) -> Mapping[str, VoicecheckError]:
        """By market, what keeps the newest files from being used. Looks at them anew."""
        with self._lock:
            used = {*self._kept, *self._failed}
        for market in used:
            try:
                self._now(market)
            except VoicecheckError:
                continue  # noted in _failed
        with self._lock:
            return {market: error for market, (_, error) in sorted(self._failed.items())}

    def _now(self, market: str) -> tuple[Workshop, Estimator]:
        chosen: Market = "UK" if market == "UK" else "US"
        with self._lock:
            state = self._state()
            kept = self._kept.get(chosen)
            if kept is None or kept[0] != state:
                kept = self._newest(chosen, state, kept)
            else:
                self._failed.pop(chosen, None)  # put back as it was
            return kept[1], kept[2]

    def _newest(
        self, market: Market, state: State, last: tuple[State, Workshop, Estimator] | None
    ) -> tuple[State, Workshop, Estimator]:
        failed = self._failed.get(market)
        try:
            if failed is not None and failed[0] == state:
                raise failed[1].with_traceback(None)  # nothing was mended: not read again at every page
            workshop = self._load(market)
        except VoicecheckError as error:
            if failed is None or failed[0] != state:
                log.warning("the shop's files cannot be used: %s", error.message)
                self._failed[market] = (state, error)
            if last is None:
                last = self._last_good(market)
                if last is None:
                    raise
                self._kept[market] = last
            return last
        self._failed.pop(market, None)
        self._keep_good(market, state)
        estimator = Estimator(lexicon=workshop.lexicon, shop=workshop.shop, market=workshop.market)
        self._kept[market] = (state, workshop, estimator)
        return self._kept[market]

    def lexicon_folder(self) -> Path | None:
        """The shop's own term files, where there are any."""
        return _terms(self.folder)

    def load(self, market: Market, *, lexicon_folder: Path | None) -> Workshop:
        """A workshop of its own with other term files and the shop's work and prices of now.

        The last few sets of words are remembered by what is in their files: a change of prices need not read
        them again, and what was tried out is there when it is adopted.
        """
        return self._load_from(self.folder, market, lexicon_folder)

    def _load_from(self, folder: Path, market: Market, lexicon_folder: Path | None) -> Workshop:
        key = (market, _content(lexicon_folder))
        catalogue, policies = _there(folder / "catalogue.csv"), _there(folder / "policies.yaml")
        prices = _there(folder / f"prices.{market.lower()}.yaml") or _there(folder / "prices.yaml")
        with self._made_lock:
            words = self._made.get(key)
        if words is not None:
            lexicon = words.lexicon
            shop = load_shop(
                catalogue=catalogue,
                prices=prices,
                policies=policies,
                market=market,
                component_ids=lexicon.components.keys(),
                measure_ids=lexicon.measures.keys(),
                condition_ids=lexicon.conditions.keys(),
            )
            return replace(words, shop=shop)
        workshop = load_workshop(
            market=market,
            lexicon_folder=lexicon_folder,
            catalogue=catalogue,
            prices=prices,
            policies=policies,
        )
        with self._made_lock:
            if key == (market, _content(lexicon_folder)):  # else somebody wrote meanwhile
                self._made[key] = workshop
            while len(self._made) > MADE_KEPT:
                self._made.popitem(last=False)
        return workshop

    def _load(self, market: Market) -> Workshop:
        return self.load(market, lexicon_folder=self.lexicon_folder())

    def _last_good(self, market: Market) -> tuple[State, Workshop, Estimator] | None:
        """What was good before this process began; ``None`` where nothing is known."""
        folder = self.folder / GOOD / market.lower()
        if not folder.is_dir():
            return None
        try:
            workshop = self._load_from(folder, market, _terms(folder))
        except VoicecheckError:
            return None
        made = Estimator(lexicon=workshop.lexicon, shop=workshop.shop, market=workshop.market)
        return (GOOD,), workshop, made

    def _keep_good(self, market: Market, state: State) -> None:
        """Copies the files that were just read, unless one was changed meanwhile. Not needed for today."""
        place = self.folder / GOOD
        target = place / market.lower()
        if not state:
            shutil.rmtree(target, ignore_errors=True)
            return
        part = place / f"{secrets.token_hex(6)}.part"
        try:
            for path in _files(self.folder):
                copy = part / path.relative_to(self.folder)
                copy.parent.mkdir(parents=True, exist_ok=True)
                shutil.copyfile(path, copy)
            if self._state() == state:
                old = part.with_suffix(".old")
                if target.exists():
                    target.rename(old)
                part.rename(target)
                shutil.rmtree(old, ignore_errors=True)
        except OSError as error:
            log.info("no copy of the shop's files kept: %s", error)
        finally:
            shutil.rmtree(part, ignore_errors=True)

    def _state(self) -> State:
        found: list[object] = []
        for path in sorted(_files(self.folder)):
            try:
                stat = path.stat()
            except FileNotFoundError:  # replaced at this moment: the next look sees the new one
                continue
            found.append((str(path), stat.st_mtime_ns, stat.st_size, stat.st_ino))
        return tuple(found)


def _files(folder: Path) -> Iterable[Path]:
    """Term files, work, prices and policies; not what was replaced earlier."""
    if not folder.is_dir():
        return []
    here = [path for path in folder.iterdir() if path.is_file() and path.suffix in (".csv", ".yaml")]
    return [*here, *(path for path in _below(folder / LEXICON) if path.suffix == ".csv")]


def _there(path: Path) -> Path | None:
    return path if path.exists() else None


def _terms(folder: Path) -> Path | None:
    path = folder / LEXICON
    return path if any(p.suffix == ".csv" for p in _below(path)) else None


def _below(folder: Path) -> list[Path]:
    return [path for path in folder.rglob("*") if path.is_file()] if folder.is_dir() else []


def _content(path: Path | None) -> str:
    """The sha256 of the term files in a folder with their names; "" without a folder."""
    if path is None:
        return ""
    hasher = hashlib.sha256()
    for file in sorted(p for p in _below(path) if p.suffix == ".csv"):
        name = file.relative_to(path).as_posix()
        try:
            data = file.read_bytes()
        except OSError as error:
            data = str(error).encode()
        hasher.update(f"{name}\0{len(data)}\0".encode("utf-8", "surrogatepass") + data)
    return hasher.hexdigest()
