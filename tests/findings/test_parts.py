"""How the parts of the shipped lexicon hang together."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from voicecheck.findings.parts import PartTree
from voicecheck.lexicon import Lexicon


@pytest.fixture(scope="module")
def tree(lexicon: Lexicon) -> PartTree:
    return PartTree(lexicon)


def test_a_line_runs_from_the_part_to_the_most_general(tree: PartTree) -> None:
    assert tree.line("ball_joint_lower") == ("ball_joint_lower", "ball_joint")
    assert tree.line("battery") == ("battery",)


def test_a_family_has_the_kinds_of_a_part_and_what_it_is_a_kind_of(tree: PartTree) -> None:
    assert {"ball_joint_lower", "ball_joint_upper"} <= tree.family("ball_joint")
    assert "ball_joint" in tree.family("ball_joint_lower")
    assert "ball_joint_upper" not in tree.family("ball_joint_lower")


def test_a_bare_boot_is_general_and_a_strut_is_not(tree: PartTree) -> None:
    assert tree.is_general_piece("rubber_boot")
    assert not tree.is_general_piece("strut")


@pytest.mark.parametrize(
    ("piece", "whole", "named"),
    [
        ("rubber_boot", "strut", "strut_boot"),
        ("rubber_boot", "battery", None),
        ("rubber_boot", "tie_rod_end_outer", "tie_rod_end_boot"),
    ],
)
def test_a_piece_of_a_whole(tree: PartTree, piece: str, whole: str, named: str | None) -> None:
    assert tree.piece_of(piece, whole) == named


@pytest.mark.parametrize(
    ("part", "qualifiers", "kind"),
    [
        ("ball_joint", ["upper"], "ball_joint_upper"),
        ("ball_joint_lower", ["upper"], "ball_joint_upper"),
        ("ball_joint_lower", ["lower"], None),
        ("battery", ["upper"], None),
    ],
)
def test_the_kind_that_qualifiers_name(
    tree: PartTree, part: str, qualifiers: list[str], kind: str | None
) -> None:
    assert tree.kind_with(part, qualifiers) == kind


def test_related_is_the_same_part_or_a_kind_of_it_and_no_bare_boot(tree: PartTree) -> None:
    assert tree.related("tie_rod_end", "tie_rod_end_outer")
    assert not tree.related("ball_joint_upper", "ball_joint_lower")
    assert not tree.related("rubber_boot", "tie_rod_end_boot")
    assert tree.same_line("rubber_boot", "tie_rod_end_boot")


@given(st.data())
def test_links_agree_with_the_term_files(tree: PartTree, lexicon: Lexicon, data: st.DataObject) -> None:
    part = data.draw(st.sampled_from(sorted(lexicon.components)))
    line = tree.line(part)
    assert line[0] == part
    assert [lexicon.components[a].kind_of for a in line[:-1]] == list(line[1:])
    assert all(part in {c.id for c in tree.children(general)} for general in line[1:2])
    assert all(part in tree.family(other) for other in tree.family(part))
