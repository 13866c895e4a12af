"""Reads the probe files: a few words as spoken each, and what a second technician would write down.

One file per mechanism, a list of

    - say: Left front strut's leaking, do the pair.
      market: US            # the default
      want:
      - strut / shock strut; front left; defect; replace @ front left, front right
      open: true            # not understood yet: it must fail, and says so once it does not

``want`` holds every finding, no more and no less: names of the part (any of them is right), its positions,
state, action, and behind "@" where the work is wider than the fault. "-" stands for no position. Compared are
the part, positions, state and action by the rules of ``voicecheck.measure``; the wider work by its corners.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import cast

import yaml

from voicecheck.lexicon.seats import seated
from voicecheck.measure.pairing import best_pairs
from voicecheck.measure.same import Names
from voicecheck.pipeline import Workshop, load_workshop, transcript_from_text, understand
from voicecheck.records import Finding, Position, expand
from voicecheck.records.vocabulary import ACTIONS, POSITIONS, STATES, Market

FOLDER = Path(__file__).parent


@dataclass(frozen=True)
class Wanted:
    """One finding as it should be."""

    names: tuple[str, ...]
    positions: tuple[Position, ...]
    state: str
    action: str
    wider: tuple[Position, ...] = ()


@dataclass(frozen=True)
class Probe:
    """A few spoken words and their findings."""

    place: str  # file and number
    say: str
    market: Market
    want: tuple[Wanted, ...]
    open: bool


def probes_of(path: Path) -> list[Probe]:
    """The probes of one file. Raises ``ValueError`` with file and number for what is not in the form."""
    found = []
    for number, row in enumerate(yaml.safe_load(path.read_text(encoding="utf-8")) or [], start=1):
        where = f"{path.stem} {number}"
        extra = set(row) - {"say", "market", "want", "open"}
        if extra or not row.get("say"):
            raise ValueError(f"{where}: “say” is missing, or unknown keys: {sorted(extra)}")
        found.append(
            Probe(
                place=where,
                say=row["say"],
                market=cast(Market, row.get("market", "US")),
                want=tuple(_wanted(text, where) for text in row.get("want") or ()),
                open=bool(row.get("open", False)),
            )
        )
    return found


def _wanted(text: str, where: str) -> Wanted:
    fields = [field.strip() for field in text.split(";")]
    if len(fields) != 4:
        raise ValueError(f"{where}: “{text}” is not “names; positions; state; action”")
    names, positions, state, advice = fields
    action, _, wider = (part.strip() for part in advice.partition("@"))
    if state not in STATES or action not in ACTIONS:
        raise ValueError(f"{where}: “{state}” or “{action}” is not a state or an action")
    return Wanted(
        names=tuple(name.strip() for name in names.split("/")),
        positions=_positions(positions, where),
        state=state,
        action=action,
        wider=_positions(wider, where),
    )


def _positions(text: str, where: str) -> tuple[Position, ...]:
    said = [word.strip() for word in text.split(",") if word.strip() not in ("", "-")]
    for word in said:
        if word not in POSITIONS:
            raise ValueError(f"{where}: “{word}” is not a position")
    return cast(tuple[Position, ...], tuple(said))


@cache
def workshop(market: Market) -> Workshop:
    """The shipped term files for a market, and the rules alone: the second reader was taught on probes."""
    return load_workshop(market=market, rules_alone=True)


def misses(probe: Probe) -> list[str]:
    """What is not as wanted, in words; empty where everything is."""
    shop = workshop(probe.market)
    findings = understand(shop, transcript_from_text(probe.say)).findings
    names = Names(shop.lexicon)
    likeness = [[_like(f, w, names) for w in probe.want] for f in findings]
    pairs = best_pairs(likeness)
    told = []
    for i, g in pairs:
        if likeness[i][g] < _ALL:
            told.append(f"wanted {_words(probe.want[g])}, got {_got(findings[i])}")
    paired_f, paired_w = {i for i, _ in pairs}, {g for _, g in pairs}
    told += [f"missed {_words(w)}" for g, w in enumerate(probe.want) if g not in paired_w]
    told += [f"surplus {_got(f)}" for i, f in enumerate(findings) if i not in paired_f]
    return told


_ALL = 31


def _like(finding: Finding, wanted: Wanted, names: Names) -> int:
    if not names.same_component(
        finding.component, place=finding.place, positions=finding.positions, gold=wanted.names
    ):
        return 0
    component = names.component(finding.component.id)
    places = seated(finding.positions, component) == seated(wanted.positions, component)
    wider = not wanted.wider or expand(finding.action_positions or finding.positions) == expand(wanted.wider)
    state, action = finding.state == wanted.state, finding.action == wanted.action
    return 1 + 12 * places + 8 * state + 8 * action + 2 * wider


def _words(wanted: Wanted) -> str:
    wider = f" @ {', '.join(wanted.wider)}" if wanted.wider else ""
    return f"{wanted.names[0]}; {', '.join(wanted.positions)}; {wanted.state}; {wanted.action}{wider}"


def _got(finding: Finding) -> str:
    wider = f" @ {', '.join(finding.action_positions)}" if finding.action_positions else ""
    name = " ".join([*finding.place, finding.component.name])
    conditions = "|".join(c.name for c in finding.conditions)
    return f"{name}; {', '.join(finding.positions)}; {finding.state} ({conditions}); {finding.action}{wider}"
