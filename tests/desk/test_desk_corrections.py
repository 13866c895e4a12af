"""What the term files learn from the desk, and what that would change."""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path

import pytest
from desk_kit import Desk, desk_of

from voicecheck.desk.corrections import (
    COMPONENT_HEADER,
    Suggestion,
    as_term_rows,
    clash,
    impact,
    merge_files,
    suggestions,
)
from voicecheck.desk.decisions import (
    Answer,
    ChangeFinding,
    Decision,
    Numbered,
    PlaceWords,
    Say,
    SettleUnplaced,
    Undo,
)
from voicecheck.lexicon import load_lexicon
from voicecheck.pipeline import Workshop, load_workshop
from voicecheck.records import Ask, InputError, Ref
from voicecheck.resources import lexicon_dir

Saying = Callable[..., Desk]


def learn(desk: Desk, *decisions: Decision) -> tuple[Suggestion, ...]:
    numbered = [Numbered(seq=n, decision=d) for n, d in enumerate(decisions, 1)]
    return suggestions(desk.base, numbered, desk.workshop.lexicon, take=2)


def adopted(tmp_path: Path, files: dict[str, str]) -> Path:
    for name, text in files.items():
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return tmp_path


def test_another_name_is_learned_from_a_changed_part(desk_saying: Saying) -> None:
    desk = desk_saying("The horn squawker pump is leaking, replace it.", spoken=True)
    assert desk.base.findings
    change = ChangeFinding(
        finding=desk.base.findings[0].id, component="power_steering_pump", words="squawker pump"
    )
    (found,) = learn(desk, change)
    assert (found.kind, found.component, found.words) == ("name", "power_steering_pump", "squawker pump")
    assert "squawker pump is leaking" in found.sentence
    assert (found.start, found.take) == (1.0, 2)
    assert found.clash == ""
    assert learn(desk, change, Undo(seq=1)) == ()
    assert learn(desk, change, change) == (found,)  # said twice, suggested once


def test_words_that_were_not_clear_are_learned_as_a_sound(desk_saying: Saying) -> None:
    desk = desk_saying("The horn squawker pump is leaking, replace it.", spoken=True)
    words = tuple(
        w.model_copy(update={"certainty": 0.3}) if w.heard == "squawker" else w
        for w in desk.base.transcript.words
    )
    transcript = desk.base.transcript.model_copy(update={"words": words})
    unclear = Desk(desk.workshop, desk.base.model_copy(update={"transcript": transcript}), desk.estimator)
    change = ChangeFinding(finding="f1", component="power_steering_pump", words="squawker pump")
    assert [s.kind for s in learn(unclear, change)] == ["sound"]


def test_names_that_are_known_teach_nothing(desk_saying: Saying) -> None:
    desk = desk_saying("The horn is dead, replace it.")
    assert learn(desk, ChangeFinding(finding="f1", component="water_pump", words="water pump")) == ()
    assert learn(desk, ChangeFinding(finding="f1", component="water_pump")) == ()
    assert learn(desk, ChangeFinding(finding="f1", urgency="now", words="horn")) == ()


def test_a_name_of_another_part_clashes(desk_saying: Saying) -> None:
    desk = desk_saying("The horn is dead, replace it.")
    (found,) = learn(desk, ChangeFinding(finding="f1", component="water_pump", words="radiator"))
    assert found.clash == "“radiator” is a name of radiator already."
    with pytest.raises(InputError, match="cannot be adopted"):
        as_term_rows([found], desk.workshop.lexicon)


def test_typed_words_that_gave_nothing_need_a_part(desk_saying: Saying) -> None:
    desk = desk_saying("The horn is dead, replace it.")
    (found,) = learn(desk, Say(text="The whatsit is knackered."))
    assert found.words == "the whatsit is knackered"
    assert found.clash == "Name the part that is meant."
    named = found.model_copy(update={"component": "horn", "words": "whatsit"})
    assert clash(named, desk.workshop.lexicon) == ""


def test_words_without_a_place_teach_a_fit(workshop: Workshop) -> None:
    desk = desk_of(workshop, "Horn is dead, replace it. Something there is leaking.", spoken=True)
    place = PlaceWords(first=5, last=9, finding="f1")
    found = [s for s in learn(desk, place) if s.kind == "fit"]
    assert [(s.component, s.words) for s in found] == [("horn", "leaking")]
    assert found[0].start == 2.5
    settled = SettleUnplaced(first=5, last=9, how="already covered", finding="f1")
    assert [s.key for s in learn(desk, settled)] == [s.key for s in learn(desk, place)]
    assert learn(desk, SettleUnplaced(first=5, last=9, how="not about the vehicle")) == ()
    (added,) = learn(desk, SettleUnplaced(first=5, last=9, how="added"))
    assert added.component == ""


def test_a_yes_to_what_is_not_usual_teaches_a_fit(workshop: Workshop) -> None:
    desk = desk_of(workshop, "The horn is dead, replace it.", spoken=True)
    ask = Ask(
        code="condition_does_not_fit",
        field="conditions",
        message="“leaking” is not usually said of horn. Is that what was meant?",
        choices=("yes", "no, another part"),
    )
    leaking = Ref(id="leaking", name="leaking")
    odd = desk.base.findings[0].model_copy(update={"conditions": (leaking,), "asks": (ask,)})
    desk.base = desk.base.model_copy(update={"findings": (odd,)})
    key = next(a.key for a in desk.top().asks if a.ask == ask)
    (found,) = learn(desk, Answer(key=key, choice="yes"))
    assert (found.kind, found.component, found.condition) == ("fit", "horn", "leaking")
    assert found.sentence.startswith("The horn is dead")
    assert (found.start, found.take) == (0.0, 2)
    assert learn(desk, Answer(key=key, choice="no, another part")) == ()


def test_adopted_rows_are_the_shops_own_files(workshop: Workshop, tmp_path: Path) -> None:
    chosen = [
        Suggestion(kind="name", component="power_steering_pump", words="squawker pump"),
        Suggestion(kind="sound", component="idler_arm", words="either arm"),
        Suggestion(kind="fit", component="horn", condition="leaking"),
        Suggestion(kind="condition", condition="leaking", words="dribbling away"),
    ]
    before = workshop.lexicon
    files = as_term_rows(chosen, before)
    assert set(files) == {"components/steering.csv", "conditions.csv"}
    after = load_lexicon(lexicon_dir(), adopted(tmp_path, files), market="US")
    assert "squawker pump" in after.components["power_steering_pump"].us
    assert "either arm" in after.components["idler_arm"].sounds_like
    assert "horn" in after.conditions["leaking"].fits
    assert "dribbling away" in after.conditions["leaking"].said
    # nothing else became different
    changed = {i for i, c in after.components.items() if c != before.components[i]}
    assert changed == {"power_steering_pump", "idler_arm"}
    assert {i for i, c in after.conditions.items() if c != before.conditions[i]} == {"leaking"}
    # adopting it again changes nothing more
    assert as_term_rows(chosen, after) == files


def test_rows_of_the_shipped_files_survive_being_written(workshop: Workshop, tmp_path: Path) -> None:
    lexicon = workshop.lexicon
    parts = list(lexicon.components.items())[::25]
    chosen = [Suggestion(kind="name", component=i, words=c.name) for i, c in parts]
    kinds = list(lexicon.conditions.items())[::9]
    chosen += [Suggestion(kind="condition", condition=i, words=c.said[0]) for i, c in kinds]
    good = [s for s in chosen if not clash(s, lexicon)]
    assert len(good) > 0.9 * len(chosen)
    after = load_lexicon(lexicon_dir(), adopted(tmp_path, as_term_rows(good, lexicon)), market="US")
    assert after == lexicon


def test_uk_names_go_to_the_uk_column(rules_of: Callable[..., Workshop]) -> None:
    lexicon = rules_of("UK").lexicon
    files = as_term_rows([Suggestion(kind="name", component="horn", words="parper")], lexicon)
    (text,) = files.values()
    row = next(csv.DictReader(text.splitlines()))
    assert "parper" in row["uk"].split("|")
    assert "parper" not in row["us"].split("|")


def test_new_rows_go_into_the_files_that_are_there() -> None:
    header = ",".join(COMPONENT_HEADER)
    rows = "# ours\nold,old part,,,,,one,,each,,,\nkeep,kept,,,,,one,,each,,,\n"
    own = {"components/steering.csv": f"{header}\n{rows}"}
    new = {
        "components/steering.csv": f"{header}\nold,old part,other name,,,,one,,each,,,\n",
        "conditions.csv": "id,name\nx,y\n",
    }
    merged = merge_files(own, new)
    lines = merged["components/steering.csv"].splitlines()
    assert lines[1] == "# ours"
    assert lines[2].startswith("old,old part,other name")
    assert lines[3].startswith("keep,kept")
    assert len(lines) == 4
    assert merged["conditions.csv"] == new["conditions.csv"]
    assert merge_files(merged, new) == merged


def test_impact_says_what_would_change(tmp_path: Path, workshop: Workshop) -> None:
    text = "The horn is dead, replace it. The left front squawker is noisy, replace it."
    chosen = [Suggestion(kind="name", component="wheel_bearing", words="squawker")]
    files = as_term_rows(chosen, workshop.lexicon)
    taught = load_workshop(market="US", lexicon_folder=adopted(tmp_path, files))
    before, after = desk_of(workshop, text).base, desk_of(taught, text).base
    (same,) = impact([before], [before])
    assert same.sentences == ()
    (found,) = impact([before], [after])
    assert any("heel bearing" in s for s in found.sentences), found.sentences
    with pytest.raises(ValueError, match="same recordings"):
        impact([before], [])


def test_impact_sees_findings_lines_and_totals(desk_saying: Saying) -> None:
    desk = desk_saying("The left front tie rod end is loose, replace it.")
    other = desk.top(ChangeFinding(finding="f1", positions=("front right",))).draft
    (found,) = impact([desk.base], [other])
    assert found.sentences[0].startswith("Front left tie rod end")
    assert "would be: Front right tie rod end" in found.sentences[0]
    none = desk.base.model_copy(update={"findings": ()})
    assert any("Not found any more" in s for s in impact([desk.base], [none])[0].sentences)
    assert any("Found as well" in s for s in impact([none], [desk.base])[0].sentences)
