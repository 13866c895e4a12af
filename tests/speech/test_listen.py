"""What ``voicecheck listen`` shows of repairs, and which ear its options ask for."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from rich.console import Console

from voicecheck import cli
from voicecheck.documents import transcript_table
from voicecheck.recording import sound_from_samples
from voicecheck.records import Transcript, Word
from voicecheck.speech import ScriptedRecogniser

WORDS = (
    Word(heard="the", read="the", start=0.0, end=0.2),
    Word(heard="Ivor", read="idler", start=0.2, end=0.6, certainty=0.7, why="sounds like it"),
    Word(heard="pulley,", read="pulley,", start=0.6, end=1.0),
    Word(heard="why", read="", start=1.0, end=1.2, why="another one"),
    Word(heard="per", read="wiper", start=1.2, end=1.5, why="another one"),
    Word(heard="slide", read="", start=1.5, end=1.6, why="an echo"),
    Word(heard="blades.", read="blades.", start=1.6, end=2.0),
)


def shown(transcript: Transcript) -> str:
    out = io.StringIO()
    Console(file=out, width=100).print(transcript_table(transcript))
    return out.getvalue()


def test_each_repair_is_listed_with_what_was_heard_and_why() -> None:
    text = shown(Transcript(text="the idler pulley, wiper blades.", words=WORDS))
    assert "“Ivor” → “idler”" in text
    assert "“why per” → “wiper”" in text
    assert "“slide” → “nothing”" in text  # touches the one before, and is one of its own
    for why in ("Sounds like it", "Another one", "An echo"):
        assert why in text


def test_without_repairs_there_is_no_list() -> None:
    words = tuple(w.model_copy(update={"read": w.heard, "why": ""}) for w in WORDS)
    assert "otherwise than heard" not in shown(Transcript(text="", words=words))


@pytest.mark.parametrize(("options", "ear"), [((), "full"), (("--plain",), "plain")])
def test_options_ask_for_the_ear_they_name(
    options: tuple[str, ...], ear: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    asked: list[str] = []

    def recogniser(settings: Any) -> ScriptedRecogniser:
        asked.append(settings.ear)
        return ScriptedRecogniser(WORDS)

    monkeypatch.setattr("voicecheck.speech.whisper.WhisperRecogniser", recogniser)
    monkeypatch.setattr(
        "voicecheck.pipeline.read_sound",
        lambda path, **_: sound_from_samples(np.zeros(32000), name="x.wav"),
    )
    path = tmp_path / "x.wav"
    path.write_bytes(b"not looked at")
    with pytest.raises(SystemExit) as ended:
        cli.main(["listen", str(path), *options])
    assert ended.value.code == 0
    assert asked == [ear]
    assert "idler" in capsys.readouterr().out
