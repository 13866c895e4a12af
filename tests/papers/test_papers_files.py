"""The files behind the papers: what is shipped loads, and every fault is named with its line."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from voicecheck.catalogue.identity import (
    check_identity,
    check_laws,
    check_particulars,
    load_identity,
    load_particulars,
)
from voicecheck.catalogue.plain_words import check_plain_words, load_plain_words
from voicecheck.lexicon import load_lexicon
from voicecheck.records import DataError
from voicecheck.resources import lexicon_dir, shared_dir

TERMS = load_lexicon(lexicon_dir(), None, market="US")


def written(folder: Path, text: str) -> Path:
    path = folder / "given.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def test_what_is_shipped_has_no_fault() -> None:
    assert check_laws(shared_dir() / "papers.yaml") == []
    assert check_identity(shared_dir() / "shop.us.yaml") == []
    assert check_identity(shared_dir() / "shop.uk.yaml") == []
    assert check_plain_words(shared_dir() / "plain_words.yaml", components=TERMS.components) == []


@pytest.mark.parametrize(
    ("text", "row", "field", "words"),
    [
        ("customer: {nome: A}", 1, "customer.nome", "unknown key “nome”; nearest: name"),
        ("document:\n  given_in: 14.3.2026", 2, "document.given_in", "2026-03-14"),
        ("document:\n  given_in: 2026-02-30", None, "document.given_in", "in the calendar"),
        ("document:\n  given_in: 2026-03-14T25:00", 2, "document.given_in", "2026-03-14T09:30"),
        ("vehicle: {year: new}", 1, "vehicle.year", "a whole number"),
        ("vehicle: {year: 1200}", 1, "vehicle.year", "1886"),
        ("customer: Robin", 1, "customer", "key: value"),
        ("customer:\n  name: [a, b]", 2, "customer.name", "one value"),
        ("customer:\n  address: 22 Larch Street", 2, "customer.address", "a list is needed"),
        ("plate: X", 1, "plate", "unknown key"),
        ("a: [", 1, "", "YAML"),
        ("", None, "", "empty"),
    ],
)
def test_faults_in_particulars(tmp_path: Path, text: str, row: int | None, field: str, words: str) -> None:
    (fault,) = check_particulars(written(tmp_path, text))
    assert (fault.row, fault.field) == (row, field)
    assert words in fault.message


def test_particulars_are_read(tmp_path: Path) -> None:
    text = (
        "customer: {name: Robin Sample, address: [a, b]}\nauthorised_other: {name: Kit}\n"
        "vehicle: {year: 2016, plate: 0123}\n"
        "document: {given_in: 2026-03-14 09:30, number: 007, complaint: }\n"
    )
    made = load_particulars(written(tmp_path, text))
    assert made.customer.address == ("a", "b")
    assert made.authorised_other is not None
    assert (made.vehicle.year, made.vehicle.plate, made.document.number) == (2016, "0123", "007")
    assert made.document.given_in == "2026-03-14 09:30"


def test_a_shop_needs_a_name(tmp_path: Path) -> None:
    with pytest.raises(DataError) as caught:
        load_identity(written(tmp_path, "phone: 1\nlabour_basis: guess\n"))
    fields = {p.field: p.message for p in caught.value.problems}
    assert "missing" in fields["name"]
    assert "flat rate" in fields["labour_basis"]


REST = "say: a, citation: b, status: verified"
LAW = """confirm: c
cautions: []
profiles:
  - id: a
    name: A
    fields: [{FIELD}]
    lines: [{LINE}]
    tolerance: {TOLERANCE}
"""


@pytest.mark.parametrize(
    ("field", "line", "tolerance", "words"),
    [
        ("fields: color, say: a, citation: b, status: verified", "", "kind: none", "none of"),
        ("fields: vin, say: a, status: verified", "", "kind: none", "“citation” is missing"),
        ("fields: vin, say: a, citation: b, status: sure", "", "kind: none", "“sure” is none of"),
        (
            f"fields: registration, {REST}",
            "",
            "kind: none",
            "kind of the number",
        ),
        (
            "",
            f"check: no_general_supplies, {REST}",
            "kind: none",
            "needs words",
        ),
        ("", "", "kind: lesser, amount: 10", "needs “percent”"),
        ("", "", "kind: greater, amount: ten, percent: 10", "a number is needed"),
    ],
)
def test_faults_in_laws(tmp_path: Path, field: str, line: str, tolerance: str, words: str) -> None:
    text = LAW.replace("{FIELD}", f"{{{field}}}" if field else "")
    text = text.replace("{LINE}", f"{{{line}}}" if line else "")
    text = text.replace("{TOLERANCE}", f"{{{tolerance}, citation: b, status: memory}}")
    faults = check_laws(written(tmp_path, text))
    assert any(words in fault.message for fault in faults), faults


def test_profiles_and_statements_are_there_once(tmp_path: Path) -> None:
    text = (shared_dir() / "papers.yaml").read_text(encoding="utf-8")
    text = text.replace("id: michigan", "id: florida").replace("id: other_person", "id: new_parts")
    told = [fault.message for fault in check_laws(written(tmp_path, text))]
    assert any("“florida” is there 2 times" in message for message in told)
    assert any("“new_parts” of california is there 2 times" in message for message in told)


# -- plain words ---------------------------------------------------------------------------------------------


def test_every_component_that_is_no_general_name_has_plain_words() -> None:
    words = load_plain_words(shared_dir() / "plain_words.yaml", components=TERMS.components, market="US")
    without = set(TERMS.components) - set(words.components)
    assert {"seal", "gasket", "vehicle"} <= without
    assert len(without) < 25
    assert len(set(words.components.values())) >= 60


def test_plain_words_do_not_frighten_and_promise_nothing() -> None:
    words = load_plain_words(shared_dir() / "plain_words.yaml", components=TERMS.components, market="US")
    for word in set(words.components.values()):
        for sentence in (word.does, word.matters):
            assert sentence.endswith(".")
            assert len(sentence) < 170
            assert not re.search(
                r"\b(safe\w*|unsafe|danger\w*|deadly|kill\w*|death|die|urgent\w*|immediate\w*|must|guarantee\w*|"
                r"always|never|perfect\w*|this vehicle|your car)\b|!",
                sentence,
                re.IGNORECASE,
            ), sentence


def test_the_uk_reads_its_own_spelling() -> None:
    words = load_plain_words(shared_dir() / "plain_words.yaml", components=TERMS.components, market="UK")
    assert words.components["tyre"].does.startswith("Tyres ")
    assert not any("tire" in f"{w.does} {w.matters}".split() for w in words.components.values())


def test_a_kind_takes_the_words_of_its_general_name() -> None:
    words = load_plain_words(shared_dir() / "plain_words.yaml", components=TERMS.components, market="US")
    assert words.components["ball_joint_lower"] == words.components["ball_joint"]
    assert words.components["heater_hose"] != words.components["engine_oil"]


def test_faults_in_plain_words(tmp_path: Path) -> None:
    text = (shared_dir() / "plain_words.yaml").read_text(encoding="utf-8")
    text = text.replace("  brake_pads:\n", "  brake_pad_s:\n").replace("  hybrid_ev:\n", "  hybrid:\n")
    told = [
        fault.message for fault in check_plain_words(written(tmp_path, text), components=TERMS.components)
    ]
    assert any("unknown component “brake_pad_s”; nearest: brake_pads" in m for m in told)
    assert any("unknown system “hybrid”" in m for m in told)
    assert any("“hybrid_ev” has no entry" in m for m in told)
