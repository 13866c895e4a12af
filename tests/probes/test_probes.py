"""Every probe is understood as a second technician would, or is marked as open."""

from __future__ import annotations

from pathlib import Path

import pytest
from probe_kit import FOLDER, misses, probes_of

FILES = sorted(FOLDER.glob("*.yaml"))


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_probes(path: Path) -> None:
    probes = probes_of(path)
    assert probes
    faults = []
    for probe in probes:
        told = misses(probe)
        if told and not probe.open:
            faults.append(f"{probe.place}: {probe.say}\n    " + "\n    ".join(told))
        if probe.open and not told:
            faults.append(f"{probe.place}: understood now, take “open” away: {probe.say}")
    assert not faults, "\n".join(faults)


def test_a_wrong_want_is_seen(tmp_path: Path) -> None:
    """The comparison can fail: side, state, action, part and a missing or surplus finding are told apart."""
    file = tmp_path / "probe.yaml"
    right = "tire; front left; defect; replace"
    for want in (
        [],
        ["tire; front right; defect; replace"],
        ["tire; front left; ok; replace"],
        ["tire; front left; defect; none"],
        ["wheel; front left; defect; replace"],
        [right, "wiper blade; front left; ok; none"],
    ):
        file.write_text(f"- say: Left front tire's bald, replace it.\n  want: {want}\n", encoding="utf-8")
        assert misses(probes_of(file)[0]), want
    file.write_text(f"- say: Left front tire's bald, replace it.\n  want: ['{right}']\n", encoding="utf-8")
    assert not misses(probes_of(file)[0])
