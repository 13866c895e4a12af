"""What the second reader says counts from its limits on, and only then; nothing said is lost for it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import pytest

from voicecheck.findings import Finder
from voicecheck.findings.candidates import Candidate
from voicecheck.findings.second import Judgement, Review, Trust
from voicecheck.language import Reader
from voicecheck.lexicon import Lexicon
from voicecheck.pipeline import transcript_from_text
from voicecheck.records import FindingsResult
from voicecheck.records.vocabulary import ACTIONS, CORNERS, POSITIONS, STATES, URGENCIES

NEVER = Trust(state=2.0, action=2.0, seats=2.0, drop=-1.0, add=2.0, apart=2.0, show=2.0)
ALWAYS = Trust(state=0.5, action=0.5, seats=0.5, drop=0.3, add=0.5, apart=0.5)


@dataclass
class Told:
    """A second reader that says of a part, named by a word of it, what it was told to."""

    of: Mapping[str, Mapping[str, str | float | tuple[str, ...]]]
    asked: list[Candidate] = field(default_factory=list)

    def judge(self, words: Sequence[str], candidates: Sequence[Candidate]) -> list[Judgement]:
        self.asked = list(candidates)
        return [self._one(words, candidate) for candidate in candidates]

    def _one(self, words: Sequence[str], candidate: Candidate) -> Judgement:
        said = " ".join(word for first, last in candidate.parts for word in words[first:last])
        says = next((says for part, says in self.of.items() if part in said), {})
        seats = says.get("seats", tuple(candidate.seats))
        assert isinstance(seats, tuple)
        return Judgement(
            stands=float(str(says.get("stands", 0.9 if candidate.kind == "draft" else 0.1))),
            states=_sure(STATES, str(says.get("state", candidate.state or "ok"))),
            actions=_sure(ACTIONS, str(says.get("action", candidate.action or "none"))),
            urgencies=_sure(URGENCIES, str(says.get("urgency", candidate.urgency or "unstated"))),
            seats={seat: 0.95 if seat in seats else 0.05 for seat in POSITIONS},
        )


def _sure(names: Sequence[str], said: str) -> dict[str, float]:
    return {name: 0.9 if name == said else 0.1 / (len(names) - 1) for name in names}


def find(reader: Reader, lexicon: Lexicon, text: str, told: Told, trust: Trust) -> FindingsResult:
    transcript = transcript_from_text(text)
    review = Review(lexicon, reader=told, trust=trust)
    return Finder(lexicon, review=review).find(reader.read(transcript), transcript)


TEXT = "Left front tie rod end is loose, replace it. The horn is fine. We looked past the water pump."


def test_what_is_never_trusted_changes_nothing(reader: Reader, lexicon: Lexicon) -> None:
    told = Told({"tie rod": {"state": "ok", "action": "none", "stands": 0.0}, "water pump": {"stands": 1.0}})
    transcript = transcript_from_text(TEXT)
    alone = Finder(lexicon).find(reader.read(transcript), transcript)
    assert find(reader, lexicon, TEXT, told, NEVER) == alone


def test_it_is_asked_about_findings_and_about_parts_left_alone(reader: Reader, lexicon: Lexicon) -> None:
    told = Told({})
    find(reader, lexicon, TEXT, told, NEVER)
    asked = [(one.kind, one.state, one.action) for one in told.asked]
    assert asked == [("draft", "defect", "replace"), ("draft", "ok", "none"), ("mention", None, None)]
    assert told.asked[0].seats == {"front left"}


def test_a_field_that_it_is_sure_of_is_taken(reader: Reader, lexicon: Lexicon) -> None:
    told = Told({"tie rod": {"state": "suspect", "action": "diagnose", "seats": ("front right",)}})
    rod, horn = find(reader, lexicon, TEXT, told, ALWAYS).findings
    assert (rod.state, rod.action, rod.positions) == ("suspect", "diagnose", ("front right",))
    assert (horn.state, horn.action) == ("ok", "none")


def test_a_part_that_it_reads_as_fine_keeps_no_fault(reader: Reader, lexicon: Lexicon) -> None:
    told = Told({"tie rod": {"state": "ok", "action": "none"}})
    rod, _ = find(reader, lexicon, TEXT, told, ALWAYS).findings
    assert (rod.state, rod.conditions, rod.action) == ("ok", (), "none")


@pytest.mark.parametrize(("fine", "codes"), [(0.85, []), (0.95, ["fine_or_fault"])])
def test_a_fault_that_it_takes_for_fine_is_asked_about_unless_it_is_very_sure(
    reader: Reader, lexicon: Lexicon, fine: float, codes: list[str]
) -> None:
    told = Told({"pads": {"state": "ok", "action": "none"}})
    trust = ALWAYS.model_copy(update={"fine": fine})
    text = "The front pads don't have much left. Horn is fine."
    pads, horn = find(reader, lexicon, text, told, trust).findings
    assert pads.state == "ok"
    assert [ask.code for ask in pads.asks] == codes
    assert horn.asks == ()


def test_what_was_fine_already_or_is_a_fault_still_is_no_such_question(
    reader: Reader, lexicon: Lexicon
) -> None:
    told = Told({"horn": {"state": "not_checked"}, "pads": {"state": "suspect", "action": "diagnose"}})
    trust = ALWAYS.model_copy(update={"fine": 2.0})
    found = find(reader, lexicon, "The front pads are thin. Horn is fine.", told, trust).findings
    assert [ask.code for finding in found for ask in finding.asks] == []


def test_a_finding_that_it_does_not_believe_is_shown_as_unplaced(reader: Reader, lexicon: Lexicon) -> None:
    result = find(reader, lexicon, TEXT, Told({"tie rod": {"stands": 0.1}}), ALWAYS)
    assert [finding.component.id for finding in result.findings] == ["horn"]
    lost = [entry for entry in result.ledger.entries if entry.kind == "unplaced"]
    assert lost
    assert lost[0].first == 0


def test_a_part_left_alone_that_it_believes_in_becomes_a_finding(reader: Reader, lexicon: Lexicon) -> None:
    told = Told({"water pump": {"stands": 0.8, "state": "defect", "action": "replace"}})
    result = find(reader, lexicon, TEXT, told, ALWAYS)
    pump = next(finding for finding in result.findings if finding.component.id == "water_pump")
    assert (pump.state, pump.action) == ("defect", "replace")
    assert "water pump" in " ".join(span.read for span in pump.heard)


@pytest.mark.parametrize(
    ("text", "stands", "shown"),
    [
        ("Horn is fine. We looked past the water pump.", 0.3, True),
        ("Horn is fine. The water pump's a no show.", 0.3, True),
        ("Horn is fine. We looked past the water pump.", 0.2, False),
        ("Horn is fine. Water pump.", 0.3, False),
    ],
)
def test_words_that_may_tell_of_a_part_are_shown(
    reader: Reader, lexicon: Lexicon, text: str, stands: float, shown: bool
) -> None:
    told = Told({"pump": {"stands": stands}})
    result = find(reader, lexicon, text, told, ALWAYS)
    assert [finding.component.id for finding in result.findings] == ["horn"]
    whys = [entry.why for entry in result.ledger.entries if entry.kind == "unplaced"]
    assert whys == (["may tell of a part"] if shown else [])


def test_it_may_not_take_away_what_other_work_goes_with(reader: Reader, lexicon: Lexicon) -> None:
    text = "Timing belt is cracked, replace it, and do the water pump while you're in there."
    alone = find(reader, lexicon, text, Told({}), NEVER).findings
    with_it = [finding.component.name for finding in alone if finding.done_with]
    assert with_it
    doubted = find(reader, lexicon, text, Told({with_it[0]: {"stands": 0.1}}), ALWAYS).findings
    assert [finding.component for finding in doubted] == [finding.component for finding in alone]


def test_no_part_at_all_is_no_question(reader: Reader, lexicon: Lexicon) -> None:
    told = Told({})
    assert find(reader, lexicon, "Good morning, how are you.", told, ALWAYS).findings == ()
    assert told.asked == []


def test_words_apart_from_their_part_that_it_believes_in_become_a_finding(
    reader: Reader, lexicon: Lexicon
) -> None:
    text = "Rear pads, left is at two, right is at seven."
    told = Told(
        {
            "pads": {"state": "defect", "action": "none", "seats": ("rear left",)},
            "left": {"stands": 0.9},
            "right": {"stands": 0.9, "state": "ok", "seats": ("rear right",)},
        }
    )
    before = find(reader, lexicon, text, Told({}), NEVER).findings
    after = find(reader, lexicon, text, told, ALWAYS).findings
    at = {finding.positions: finding for finding in after}
    assert len(after) == len(before) + 1
    assert at["rear right",].state == "ok"
    assert [span.read for span in at["rear right",].heard] == ["right is at seven."]
    assert [m.value for m in at["rear right",].measures] == [7]
    assert [m.value for m in at["rear left",].measures] == [2]


def test_the_same_place_is_not_found_twice(reader: Reader, lexicon: Lexicon) -> None:
    text = "Rear pads, left is at two, right is at seven."
    told = Told({"left": {"stands": 0.9, "seats": ("rear left",)}, "right": {"stands": 0.9, "seats": ()}})
    before = find(reader, lexicon, text, Told({}), NEVER).findings
    assert len(find(reader, lexicon, text, told, ALWAYS).findings) == len(before)


@pytest.mark.parametrize(
    ("says", "left"),
    [
        ({}, 2),
        ({"shock": {"seats": ("front left",)}}, 1),
        ({"absorber": {"seats": ("front left", "rear left")}}, 1),
        ({"absorber": {"seats": ("front left", "rear left"), "action": "monitor"}}, 2),
        ({"absorber": {"seats": ("front left", "front right")}}, 2),
    ],
)
def test_what_stands_alike_within_one_place_is_one_finding(
    reader: Reader, lexicon: Lexicon, says: Mapping[str, Mapping[str, str | tuple[str, ...]]], left: int
) -> None:
    text = "Front left shock absorber is leaking, replace it. Rear left shock is leaking, replace it."
    assert len(find(reader, lexicon, text, Told(says), ALWAYS).findings) == left


def test_one_finding_of_two_keeps_the_more_urgent_and_the_reasons(reader: Reader, lexicon: Lexicon) -> None:
    text = (
        "Front left shock absorber is leaking, replace it next time. "
        "Rear left shock is leaking, must be replaced now if they keep the truck."
    )
    apart = {f.positions: f for f in find(reader, lexicon, text, Told({}), NEVER).findings}
    assert {f.urgency for f in apart.values()} == {"later", "now"}
    (one,) = find(reader, lexicon, text, Told({"shock": {"seats": ("front left",)}}), ALWAYS).findings
    assert one.urgency == "now"
    assert one.only_if == apart["rear left",].only_if
    assert " ".join(span.read for span in one.heard) == text


def test_readings_of_a_finding_that_another_takes_in_go_to_that_one(reader: Reader, lexicon: Lexicon) -> None:
    class Widens(Told):
        """Takes the front for all four corners, and the rear for no finding of its own."""

        def judge(self, words: Sequence[str], candidates: Sequence[Candidate]) -> list[Judgement]:
            judged = []
            for candidate, one in zip(candidates, super().judge(words, candidates), strict=True):
                rear = any("rear" in seat for seat in candidate.seats)
                seats = {str(seat): 0.95 if seat in CORNERS else 0.05 for seat in POSITIONS}
                judged.append(replace(one, stands=0.1 if rear else 0.9, seats=seats))
            return judged

    text = "Tires. Eight left front, eight right front, nine left rear, nine right rear."
    before = find(reader, lexicon, text, Told({}), NEVER)
    (tire,) = find(reader, lexicon, text, Widens({}), ALWAYS).findings
    assert [m.value for m in tire.measures] == [8, 8, 9, 9]
    assert {m for finding in before.findings for m in finding.measures} == set(tire.measures)


@pytest.mark.parametrize(
    ("text", "places"),
    [
        (
            "Left front strut is leaking, replace it. Horn is fine. Right front strut is dry.",
            [("front left", "front right")],
        ),
        (
            "Left front strut is leaking, replace it. Horn is fine. Right rear strut is dry.",
            [("front left",), ("rear right",)],
        ),
        (
            "Left front strut is leaking, replace it. Horn is fine. Left rear strut is dry.",
            [("front left",), ("rear left",)],
        ),
    ],
)
def test_what_comes_to_stand_alike_on_both_sides_is_one_finding(
    reader: Reader, lexicon: Lexicon, text: str, places: list[tuple[str, ...]]
) -> None:
    told = Told({"strut": {"state": "defect", "action": "replace"}})
    trust = ALWAYS.model_copy(update={"seats": 2.0})
    struts = [f for f in find(reader, lexicon, text, told, trust).findings if f.component.id == "strut"]
    assert [finding.positions for finding in struts] == places


@pytest.mark.parametrize(
    "text",
    [
        "Left front caliper is sticking. Left front strut is leaking. Right one is good.",
        "Left front tire is worn, left front wheel bearing is loud. Right one, fine.",
        "Left front tire is worn. Left front strut is leaking. Right one is fine.",
    ],
)
def test_the_same_words_do_not_tell_of_two_parts(reader: Reader, lexicon: Lexicon, text: str) -> None:
    told = Told({"Right": {"stands": 0.9, "state": "ok", "action": "none", "seats": ("front right",)}})
    found = find(reader, lexicon, text, told, ALWAYS).findings
    asked = [one.component for one in told.asked if one.kind == "apart" and one.parts[0][0] >= 8]
    assert len(set(asked)) == 2
    assert [f.positions for f in found].count(("front right",)) == 1
