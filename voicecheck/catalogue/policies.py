"""What the shop has decided once for all estimates: ``policies.yaml``."""

from __future__ import annotations

from collections.abc import Collection, Container
from pathlib import Path
from typing import Any, get_args

from voicecheck.catalogue import cells
from voicecheck.catalogue.entries import Entry, entries, percent
from voicecheck.catalogue.faults import Faults
from voicecheck.catalogue.yaml_file import check_keys, read_mapping
from voicecheck.lexicon.parse import SYSTEMS
from voicecheck.records import ACTIONS, PRICED_ACTIONS, Policies, Problem
from voicecheck.records.shopdata import BEYOND_LIMIT, Mode

KEYS = ("catalogue_follow_ons", "near_limit_percent", "sets", "follow_ons", "conclusions")

_MODES: tuple[str, ...] = get_args(Mode)


def check_policies(
    path: Path,
    *,
    component_ids: Container[str] | None = None,
    condition_ids: Collection[str] | None = None,
) -> list[Problem]:
    """Every fault of a file of policies; ``row`` is the line of the file. Ids are checked where given."""
    faults = Faults(path)
    _read(path, faults, component_ids, condition_ids)
    return faults.in_order()


def load_policies(
    path: Path,
    *,
    component_ids: Container[str] | None = None,
    condition_ids: Collection[str] | None = None,
) -> Policies:
    """The policies in the order of the file. Raises ``DataError`` with all problems if there is an error."""
    faults = Faults(path)
    fields = _read(path, faults, component_ids, condition_ids)
    faults.stop_on_errors()
    return Policies.model_validate(fields)


def _read(
    path: Path,
    faults: Faults,
    component_ids: Container[str] | None,
    condition_ids: Collection[str] | None,
) -> dict[str, Any]:
    top = read_mapping(path, faults)
    if top is None or top.pairs is None:
        return {}
    check_keys(top, faults, required=(), optional=KEYS)
    head = Entry(top, faults)
    margin = head.value("near_limit_percent", percent)
    fields: dict[str, Any] = {
        "catalogue_follow_ons": head.one("catalogue_follow_ons", _MODES, default="ask"),
        "sets": [],
        "follow_ons": [],
        "conclusions": [],
    }
    if margin is not None:
        fields["near_limit_percent"] = margin
    seen: dict[str, int] = {}
    scope = ("components", "systems", "actions")
    for entry in entries(
        top.pairs.get("sets"), "sets", faults, required=("id", "by", "says"), optional=scope
    ):
        fields["sets"].append(
            {
                "id": _id(entry, seen),
                "work": _scope(entry, "components", "systems", component_ids),
                "by": entry.one("by", ("axle", "side", "ask")),
                "says": entry.text("says", needed=True),
            }
        )
    for entry in entries(
        top.pairs.get("follow_ons"),
        "follow_ons",
        faults,
        required=("id", "mode", "says"),
        optional=("after", "after_systems", "actions", "work", "part"),
    ):
        fields["follow_ons"].append(_follow_on(entry, seen, component_ids))
    known = None if condition_ids is None else {BEYOND_LIMIT, *condition_ids}
    for entry in entries(
        top.pairs.get("conclusions"),
        "conclusions",
        faults,
        required=("id", "components", "conditions", "not_enough", "instead", "says"),
        optional=(),
    ):
        action, target = _work(entry, "instead", component_ids)
        fields["conclusions"].append(
            {
                "id": _id(entry, seen),
                "components": entry.words("components", component_ids, what="the lexicon has no component"),
                "conditions": entry.words("conditions", known, what="the lexicon has no condition"),
                "not_enough": entry.words("not_enough", ACTIONS, what="unknown action"),
                "instead": action,
                "target": target,
                "says": entry.text("says", needed=True),
            }
        )
    return fields


def _follow_on(entry: Entry, seen: dict[str, int], component_ids: Container[str] | None) -> dict[str, Any]:
    work = _scope(entry, "after", "after_systems", component_ids)
    if not work["components"] and not work["systems"]:
        entry.fault("say after which components (“after”) or systems (“after_systems”)", "after")
    if bool(entry.text("work")) == bool(entry.text("part")):
        entry.fault("say either the work that follows (“work”) or the part (“part”)", "work")
    fields: dict[str, Any] = {
        "id": _id(entry, seen),
        "after": work,
        "mode": entry.one("mode", _MODES),
        "says": entry.text("says", needed=True),
        "part": entry.value("part", cells.part),
    }
    if entry.text("work"):
        fields["action"], fields["component"] = _work(entry, "work", component_ids)
        if fields["action"] and not fields["component"]:
            entry.fault("name the component after the action, such as “adjust wheel_alignment”", "work")
    return fields


def _id(entry: Entry, seen: dict[str, int]) -> str:
    name = entry.text("id", needed=True)
    if name and (line := seen.setdefault(name, entry.line)) != entry.line:
        entry.fault(f"the id “{name}” is already used in line {line}", "id")
    return name


def _scope(
    entry: Entry, components: str, systems: str, component_ids: Container[str] | None
) -> dict[str, tuple[str, ...]]:
    return {
        "components": entry.words(components, component_ids, what="the lexicon has no component"),
        "systems": entry.words(systems, SYSTEMS, what="unknown system"),
        "actions": entry.words("actions", PRICED_ACTIONS, what="unknown action"),
    }


def _work(entry: Entry, key: str, component_ids: Container[str] | None) -> tuple[str | None, str]:
    """ "adjust wheel_alignment" as action and component; the component may be left out."""
    written = entry.text(key)
    action = next((a for a in PRICED_ACTIONS if written == a or written.startswith(f"{a} ")), None)
    if action is None:
        if written:
            entry.fault(f"“{written}” does not begin with an action: {', '.join(PRICED_ACTIONS)}", key)
        return None, ""
    component = written.removeprefix(action).strip()
    if component and component_ids is not None and component not in component_ids:
        entry.fault(f"the lexicon has no component “{component}”", key)
    return action, component
