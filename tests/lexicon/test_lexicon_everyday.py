"""What people in a workshop call things: family names, and phrases whose meaning depends on the part."""

from __future__ import annotations

import pytest

from voicecheck import resources
from voicecheck.lexicon import Lexicon, TermMatcher, load_lexicon
from voicecheck.lexicon.matcher import compile_matcher
from voicecheck.lexicon.model import TermKind
from voicecheck.lexicon.normal import normalise_phrase
from voicecheck.records.vocabulary import Market, State


@pytest.fixture(scope="module", params=("US", "UK"))
def lexicon(request: pytest.FixtureRequest) -> Lexicon:
    market: Market = request.param
    return load_lexicon(resources.lexicon_dir(), market=market)


@pytest.fixture(scope="module")
def matcher(lexicon: Lexicon) -> TermMatcher:
    return compile_matcher(lexicon)


def whole(matcher: TermMatcher, text: str, *, kind: TermKind) -> list[str]:
    """The ids, or for cues the kinds, of the phrases that are all of ``text``."""
    words = normalise_phrase(text)
    found = [m for m in matcher.match(words) if (m.kind, m.first, m.last) == (kind, 0, len(words))]
    return [m.detail if kind == "cue" else m.id for m in found]


@pytest.mark.parametrize(
    ("said", "component"),
    [
        ("lights", "light"),
        ("fluids", "fluid"),
        ("levels", "fluid"),
        ("belts", "belt"),
        ("hoses", "hose"),
        ("tires", "tyre"),
        ("tyres", "tyre"),
        ("doors", "door"),
        ("windows", "window"),
        ("panels", "bodywork"),
        ("A C", "air_conditioning"),
        ("screen wash", "washer_fluid"),
        ("rod ends", "tie_rod_end"),
        ("cross member", "subframe"),
        ("valve core", "valve_stem"),
        ("brights", "high_beam"),
        ("fogs", "fog_light"),
        ("outer CV", "cv_joint_outer"),
        ("diff mounts", "differential_mount"),
        ("tailgate cables", "tailgate_cable"),
        ("dome light bulb", "interior_light_bulb"),
        ("jacking points", "jacking_point"),
    ],
)
def test_ordinary_names(matcher: TermMatcher, said: str, component: str) -> None:
    assert whole(matcher, said, kind="component") == [component]


@pytest.mark.parametrize(
    ("said", "part", "state"),
    [
        ("bone dry", "shock", "ok"),
        ("bone dry", "oil_pan_gasket", "ok"),
        ("bone dry", "universal_joint", "defect"),
        ("bone dry", "caliper_slide_pin", "defect"),
        ("wide open", "sunroof", "ok"),
        ("wide open", "cv_boot", "defect"),
        ("smooth as a baby's bottom", "tyre", "defect"),
        ("blowing cold", "air_conditioning", "ok"),
        ("blowing cold", "heater", "defect"),
        ("dead", "battery", "defect"),
        ("factory", "hood", "ok"),
        ("loads left", "brake_pads", "ok"),
        ("wide open", "catalytic_converter", "ok"),
    ],
)
def test_a_phrase_can_be_good_of_one_part_and_bad_of_another(
    lexicon: Lexicon, matcher: TermMatcher, said: str, part: str, state: State
) -> None:
    owners = [lexicon.conditions[id_] for id_ in whole(matcher, said, kind="condition")]
    fitting = {owner.state for owner in owners if owner.fits != ("any",) and lexicon.fits(owner.fits, part)}
    assert fitting == {state}


@pytest.mark.parametrize(
    ("said", "condition"),
    [("dead", "wont_hold_charge"), ("dead", "bulb_out"), ("dead", "not_working"), ("is dead", "bulb_out")],
)
def test_dead_is_said_of_batteries_bulbs_and_all_else(
    matcher: TermMatcher, said: str, condition: str
) -> None:
    assert condition in whole(matcher, said, kind="condition")


@pytest.mark.parametrize(
    ("said", "kind"),
    [
        ("right where it belongs", "ok"),
        ("works like it should", "ok"),
        ("not worth touching", "no_action"),
        ("leave 'em be", "no_action"),
        ("let it ride", "no_action"),
        ("have another look", "no_action"),
        ("can't judge", "not_checked"),
        ("never got round to it", "not_checked"),
        ("don't leave it too long", "urgency"),
        ("not leaving here like that", "urgency"),
        ("wouldn't swear to it", "hedge"),
        ("if he cares", "only_if"),
    ],
)
def test_everyday_cues(matcher: TermMatcher, said: str, kind: str) -> None:
    assert kind in whole(matcher, said, kind="cue")


@pytest.mark.parametrize(
    ("said", "action"),
    [
        ("put one in it", "replace"),
        ("throw a set on", "replace"),
        ("needs swapping", "replace"),
        ("nip that up", "tighten"),
        ("take up the slack", "adjust"),
        ("run that down", "diagnose"),
        ("bit of grease", "service"),
        ("flush and refill", "service"),
        ("fill it", "top up"),
        ("buff it out", "clean"),
        ("put three in", "install"),
    ],
)
def test_everyday_advice(matcher: TermMatcher, said: str, action: str) -> None:
    found = [m for m in matcher.match(normalise_phrase(said)) if m.kind == "action"]
    assert action in [m.id for m in found]


@pytest.mark.parametrize("fault", ["leak", "hole", "bulge", "rattle", "dent"])
def test_no_condition_swallows_the_article_of_a_negation(matcher: TermMatcher, fault: str) -> None:
    """ "Couldn't find a leak" denies the leak: "a leak" as a phrase would end the denial before it."""
    found = matcher.match(normalise_phrase(f"couldn't find a {fault}"))
    assert {(m.first, m.last) for m in found if m.kind == "condition"} == {(3, 4)}
