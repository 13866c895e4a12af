"""Who the shop is, what one vehicle's papers say beside the draft, and what the law wants on them.

``shared/shop.….yaml``, a file of particulars for each document, and ``shared/papers.yaml``; the forms are the
records of ``voicecheck.records.papers``, told in DEVELOPERS.md, "Papers".
"""

from __future__ import annotations

from collections import Counter
from datetime import date, datetime
from pathlib import Path

from voicecheck.catalogue.faults import Faults
from voicecheck.catalogue.yaml_records import R, read_record
from voicecheck.records import Problem
from voicecheck.records.papers import LawProfile, Laws, Particulars, ShopIdentity


def check_identity(path: Path) -> list[Problem]:
    """Every fault of a shop's identity."""
    return _faults_of(path, ShopIdentity)


def load_identity(path: Path) -> ShopIdentity:
    """The shop. Raises ``DataError`` with all problems."""
    return _load(path, ShopIdentity)


def check_particulars(path: Path) -> list[Problem]:
    """Every fault of a file of particulars."""
    faults = Faults(path)
    _particulars(path, faults)
    return faults.in_order()


def load_particulars(path: Path) -> Particulars:
    """Customer, vehicle and document. Raises ``DataError`` with all problems."""
    faults = Faults(path)
    made = _particulars(path, faults)
    faults.stop_on_errors()
    assert made is not None
    return made


def check_laws(path: Path) -> list[Problem]:
    """Every fault of a file of law profiles."""
    faults = Faults(path)
    _laws(path, faults)
    return faults.in_order()


def load_laws(path: Path) -> Laws:
    """The law profiles. Raises ``DataError`` with all problems."""
    faults = Faults(path)
    made = _laws(path, faults)
    faults.stop_on_errors()
    assert made is not None
    return made


def _faults_of(path: Path, model: type[R]) -> list[Problem]:
    faults = Faults(path)
    read_record(path, model, faults)
    return faults.in_order()


def _load(path: Path, model: type[R]) -> R:
    faults = Faults(path)
    made = read_record(path, model, faults)
    faults.stop_on_errors()
    assert made is not None
    return made


def _particulars(path: Path, faults: Faults) -> Particulars | None:
    made = read_record(path, Particulars, faults)
    if made is None:
        return None
    document = made.document
    for name, text in (
        ("given_in", document.given_in),
        ("proposed_completion", document.proposed_completion),
        ("valid_until", document.valid_until),
    ):
        if text and not _is_in_the_calendar(text):
            faults.error(f"there is no day “{text}” in the calendar", field=f"document.{name}")
    return made


def _is_in_the_calendar(text: str) -> bool:
    try:
        if len(text) > 10:
            datetime.fromisoformat(text)
        else:
            date.fromisoformat(text)
    except ValueError:
        return False
    return True


def _laws(path: Path, faults: Faults) -> Laws | None:
    made = read_record(path, Laws, faults)
    if made is None:
        return None
    for id_, count in Counter(profile.id for profile in made.profiles).items():
        if count > 1:
            faults.error(f"the profile “{id_}” is there {count} times", field="profiles.id")
    for profile in made.profiles:
        _check_profile(profile, faults)
    return made


def _check_profile(profile: LawProfile, faults: Faults) -> None:
    where = f"of {profile.id}"
    for rule in profile.fields:
        if ("registration" in rule.fields) != bool(rule.registration):
            faults.error(
                f"“registration” ({where}: {rule.say}) needs the field and the kind of the number together",
                field="profiles.fields.registration",
            )
    for line in profile.lines:
        if line.check in ("no_general_supplies", "waste_needs_registration") and not line.words:
            faults.error(f"the check “{line.check}” {where} needs words", field="profiles.lines.words")
        if line.check == "waste_needs_registration" and not line.registration:
            faults.error(
                f"the check “{line.check}” {where} needs the kind of a registration",
                field="profiles.lines.registration",
            )
    for id_, count in Counter(statement.id for statement in profile.statements).items():
        if count > 1:
            faults.error(
                f"the statement “{id_}” {where} is there {count} times", field="profiles.statements.id"
            )
    tolerance = profile.tolerance
    needed = {"none": (), "percent": ("percent",)}.get(tolerance.kind, ("amount", "percent"))
    for name in needed:
        if getattr(tolerance, name) is None:
            faults.error(f"a tolerance “{tolerance.kind}” {where} needs “{name}”", field="profiles.tolerance")
