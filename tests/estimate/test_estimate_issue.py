"""What keeps a draft from being issued."""

from __future__ import annotations

from estimate_kit import estimate, finding

from voicecheck.estimate import issue_blockers
from voicecheck.records import Ask, Unplaced


def test_a_settled_estimate_has_no_blockers() -> None:
    result = estimate(finding("f1", "brake_pads", "front"))
    assert issue_blockers(result.estimate, findings=result.findings) == ()


def test_every_kind_of_blocker_is_named() -> None:
    result = estimate(
        finding("f1", "wheel_cylinder", "rear"), finding("f2", "tyre", "front left", action="none")
    )
    reasons = issue_blockers(
        result.estimate,
        findings=result.findings,
        unplaced=[Unplaced(first=3, last=5, start=1.0, end=2.0, text="the hanger", why="no condition")],
        asks=[Ask(code="no_vin", message="Which vehicle is it?")],
    )
    assert reasons == (
        "Open question: Which vehicle is it?",
        "Open question on front left tyre: Front left tyre: worn. Replace, repair, watch or leave it?",
        "Open question on “wheel cylinder”: The price of “wheel cylinder” is to be found.",
        "No price yet: “wheel cylinder” in Rear brakes.",
        "Words without a place: “the hanger” (no condition).",
    )


def test_an_estimate_without_findings_can_be_issued() -> None:
    result = estimate()
    assert issue_blockers(result.estimate, findings=()) == ()
