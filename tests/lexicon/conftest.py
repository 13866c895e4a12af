"""A small term folder that is right, for tests to break."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

COMPONENTS = "id,name,us,uk,kind_of,part_of,places,place,sets,sounds_like,notes\n"
GOOD: dict[str, str] = {
    "components/brakes.csv": COMPONENTS
    + "brake_pads,brake pads,pads,pads,,,axles,,axle set,,\n"
    + "caliper,caliper,brake caliper,brake calliper,,,corners,,pair,,\n",
    "components/steering.csv": COMPONENTS
    + "tie_rod_end,tie rod end,,track rod end,,,front sides,,each,,\n"
    + "tie_rod_end_outer,outer tie rod end,outer tie rod,,tie_rod_end,,front sides,outer,each,tight rodent,\n"
    + "tie_rod_end_boot,tie rod end boot,,track rod end gaiter,,tie_rod_end,front sides,,each,,\n",
    "components/suspension.csv": COMPONENTS
    + "ball_joint,ball joint,,,,,front sides,,each,,\n"
    + "ball_joint_lower,lower ball joint,ball joint,,ball_joint,,front sides,lower,each,,\n",
    "components/wheels_tyres.csv": COMPONENTS + "tire,tire,,,,,corners,,each,,\n",
    "components/glass_wipers.csv": COMPONENTS
    + "windshield,windshield,,windscreen,,,one,,each,,\n"
    + "heat_shield,heat shield,,,,,one,,each,,\n",
    "conditions.csv": "id,name,said,fits,state,severity,notes\n"
    + "leaking,leaking,leaking|weeping,any,defect,soon,\n"
    + "noise,wind noise,wind noise,any,defect,later,\n"
    + "discolored,discolored,discolored,system:brakes,defect,later,\n"
    + "loose,loose,loose|isn't tight,tie_rod_end,defect,now,\n",
    "actions.csv": "action,said,notes\nreplace,replace|replacing,\nadjust,adjust,\n",
    "places.csv": "said,kind,value,market,notes\n"
    + "right front,position,front right,,\nfront,axle,front,,\nouter,qualifier,outer,,\n"
    + "driver side,side,left,US,\ndriver side,side,right,UK,\n",
    "cues.csv": "kind,said,value,notes\n"
    + "negation,no,before,\nnegation,isn't,before,\ncorrection,no sorry,,\nurgency,right away,now,\n"
    + "together,while we're in there,,\n",
    "measures.csv": "id,name,fits,units,unit_us,unit_uk,said,notes\n"
    + "pad_thickness,pad thickness,brake_pads,mm 0-15|1/32 in 0-20,mm,mm,pad thickness|left on the pad,\n",
    "spellings.csv": "us,uk,notes\ntire,tyre,\ncaliper,calliper,\ncolor,colour,\ndiscolored,discoloured,\n",
    "contractions.csv": "short,long,notes\nisn't,is not,\nwe're,we are,\n",
    "hotwords.csv": "phrase,market,notes\nball joint,,\npassenger side,US,\nnearside,UK,\n",
    "grammar.csv": "kind,said,value,notes\ncopula,is,,\nunit,mil,mm,\n",
}

MakeFolder = Callable[[Mapping[str, str | bytes | None]], Path]


@pytest.fixture(scope="session")
def good_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The good folder, to be read only."""
    return write(tmp_path_factory.mktemp("good") / "terms", GOOD)


@pytest.fixture
def folder(tmp_path: Path) -> MakeFolder:
    """Writes the good folder with some files changed (``None`` leaves one out) and returns it."""

    def make(changes: Mapping[str, str | bytes | None]) -> Path:
        return write(tmp_path / "terms", {**GOOD, **changes})

    return make


@pytest.fixture
def overlay(tmp_path: Path) -> MakeFolder:
    """Writes a shop's own folder with just these files."""
    return lambda files: write(tmp_path / "shop", files)


def write(root: Path, files: Mapping[str, str | bytes | None]) -> Path:
    root.mkdir(exist_ok=True)
    for name, content in files.items():
        if content is not None:
            path = root / name
            path.parent.mkdir(exist_ok=True)
            path.write_bytes(content.encode() if isinstance(content, str) else content)
    return root
