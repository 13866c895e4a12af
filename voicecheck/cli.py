"""The commands. The only module that prints.

What was asked for goes to stdout, everything else to stderr. Ends with 0 where all is well, 1 where the
self-test of ``doctor`` fails or the reader of stdout goes away, 2 where an input or an option cannot be used
(one sentence, and maybe a hint, on stderr) and 130 after Ctrl-C.

Everything heavy is imported inside the commands, so that ``--help`` is there at once.
"""

from __future__ import annotations

import functools
import io
import json
import os
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple, NoReturn, TypeVar

import click

from voicecheck import __version__
from voicecheck.cli_bring import register as register_bring
from voicecheck.cli_common import check_outputs, read_up_to, refuse, to_stdout
from voicecheck.cli_keep import register as register_keep
from voicecheck.cli_papers import register as register_papers
from voicecheck.cli_serve import serve
from voicecheck.cli_shop import register as register_shop

if TYPE_CHECKING:
    from rich.console import Console, RenderableType

    from voicecheck.lexicon import Lexicon
    from voicecheck.pipeline import Progress, Workshop
    from voicecheck.records import Draft, Market, Problem, VoicecheckError
    from voicecheck.records.explanation import Explanation
    from voicecheck.speech import Ear, Recogniser

SELF_TEST_FAILED = 1
UNUSABLE = 2
INTERRUPTED = 130  # what a shell gives a program that Ctrl-C ended
MOST_FAULTS_SHOWN = 20  # of a data file, where a draft was asked for; the check commands show all
PIPE_WIDTH = 110  # of tables where there is no terminal
ENGINES = ("faster-whisper", "ctranslate2", "onnxruntime", "av", "spacy", "rapidfuzz", "numpy", "pydantic")

Command = TypeVar("Command", bound=Callable[..., Any])

_PATH = click.Path(path_type=Path)


# -- errors and output ---------------------------------------------------------------------------------------


class _OneSentence(click.Group):
    """A group of commands whose every refusal is one sentence on stderr, and never a stack trace."""

    def main(self, *args: Any, **kwargs: Any) -> NoReturn:
        _replace_what_cannot_be_shown()
        try:
            status = super().main(*args, **{**kwargs, "standalone_mode": False})
        except click.Abort:  # click has ended the line that ^C stands on
            sys.exit(INTERRUPTED)
        except click.ClickException as error:
            _complain(error.format_message())
            if isinstance(error, click.UsageError) and error.ctx is not None:
                click.echo(f"“{error.ctx.command_path} --help” lists what can be given.", err=True)
            sys.exit(UNUSABLE)
        except _errors() as error:  # looked up only when there is one
            _fail(error)
        sys.exit(status if isinstance(status, int) else 0)


def _errors() -> type[VoicecheckError]:
    from voicecheck.records import VoicecheckError

    return VoicecheckError


def _complain(message: str) -> None:
    click.echo(f"voicecheck: {' '.join(message.split())}", err=True)


def _fail(error: VoicecheckError) -> NoReturn:
    _complain(error.message)
    faults = [p for p in getattr(error, "problems", ()) if p.severity == "error"]
    if len(faults) > 1:  # a single one is in the sentence already
        for fault in faults[:MOST_FAULTS_SHOWN]:
            click.echo(f"  {fault}", err=True)
        if len(faults) > MOST_FAULTS_SHOWN:
            click.echo(f"  … and {len(faults) - MOST_FAULTS_SHOWN} more", err=True)
    if error.hint:
        click.echo(error.hint, err=True)
    sys.exit(UNUSABLE)


def _replace_what_cannot_be_shown() -> None:
    """A terminal or pipe that lacks a character gets a mark in its place, not a stack trace."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")


def _print_json(text: str) -> None:
    """JSON is UTF-8, whatever the terminal is."""
    with to_stdout():
        click.echo(text.rstrip("\n").encode("utf-8"))


def _print_table(*tables: RenderableType) -> None:
    from rich.console import Console

    console = Console(width=None if sys.stdout is not None and sys.stdout.isatty() else PIPE_WIDTH)
    with to_stdout():
        for table in tables:
            console.print(table)


def _note(line: str) -> None:
    click.echo(line, err=True)


@contextmanager
def _progress() -> Iterator[Progress]:
    """A bar per stage on stderr while the work lasts; nothing where stderr is no terminal."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskID, TaskProgressColumn, TextColumn, TimeElapsedColumn

    console: Console = Console(stderr=True)
    tasks: dict[str, TaskID] = {}
    columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeElapsedColumn())
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as bar:

        def tell(stage: str, share: float) -> None:
            if stage not in tasks:
                tasks[stage] = bar.add_task(stage, total=1.0)
            bar.update(tasks[stage], completed=min(1.0, share))

        yield tell


# -- what commands have in common ----------------------------------------------------------------------------


class _Shop(NamedTuple):
    """What a command was told about the shop."""

    market: Market = "US"
    lexicon: Path | None = None
    catalogue: Path | None = None
    prices: Path | None = None

    def load_lexicon(self) -> Lexicon:
        from voicecheck.lexicon import load_lexicon
        from voicecheck.resources import lexicon_dir

        return load_lexicon(lexicon_dir(), self.lexicon, market=self.market)

    def workshop(self, market: Market | None = None) -> Workshop:
        from voicecheck import pipeline

        return pipeline.load_workshop(
            market=market or self.market,
            lexicon_folder=self.lexicon,
            catalogue=self.catalogue,
            prices=self.prices,
        )


_SHOP_OPTIONS = {
    "market": click.option(
        "--market",
        type=click.Choice(["US", "UK"], case_sensitive=False),
        default="US",
        show_default=True,
        metavar="US|UK",
        help="Whose names, sides, units and demonstration prices.",
    ),
    "lexicon": click.option(
        "--lexicon", type=_PATH, metavar="DIR", help="The shop's term files, laid over ours."
    ),
    "catalogue": click.option(
        "--catalogue", type=_PATH, metavar="FILE", help="The shop's labour catalogue (CSV)."
    ),
    "prices": click.option("--prices", type=_PATH, metavar="FILE", help="The shop's price profile (YAML)."),
}


def _shop_options(*names: str) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """The options ``names``, handed to the command as one ``shop``."""

    def decorate(command: Callable[..., None]) -> Callable[..., None]:
        @functools.wraps(command)
        def with_shop(**given: Any) -> None:
            command(shop=_Shop(**{name: given.pop(name) for name in names}), **given)

        wrapped: Callable[..., None] = with_shop
        for name in reversed(names):
            wrapped = _SHOP_OPTIONS[name](wrapped)
        return wrapped

    return decorate


_model_option = click.option(
    "--model",
    default="base",
    show_default=True,
    metavar="NAME",
    help="Speech weights: base, tiny.en, or a folder.",
)
_json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON instead of a table.")


def _recogniser(model: str, *, ear: Ear | None = None) -> Recogniser:
    from voicecheck.speech import SpeechSettings
    from voicecheck.speech.whisper import WhisperRecogniser

    settings = SpeechSettings(model=model)
    return WhisperRecogniser(settings if ear is None else settings.model_copy(update={"ear": ear}))


def _check_recording_path(file: Path) -> None:
    """Says what is cheap to see before models are loaded."""
    if str(file) == "-":
        refuse(
            "A recording cannot come from standard input.", hint="Give a file, or typed words with --text -."
        )
    if file.is_dir():
        refuse(f"{file} is a folder, not a recording.", hint="Name one audio or video file.")
    if not file.exists():
        refuse(f"There is no file {file}.")


def _check_folder(folder: Path) -> None:
    if not folder.exists():
        refuse(f"There is no folder {folder}.")
    if not folder.is_dir():
        refuse(f"{folder} is a file, not a folder.")


def _typed_text(file: Path) -> str:
    """The text of ``file`` (- is stdin), not more of it than is ever read."""
    from voicecheck.pipeline import MAX_TEXT_CHARS

    most = 4 * MAX_TEXT_CHARS  # bytes: none of its characters takes more in UTF-8
    typed_in = str(file) == "-"
    name = "Standard input" if typed_in else str(file)
    if typed_in:
        if sys.stdin is None:
            refuse("There is no standard input.", hint="Name a file.")
        if sys.stdin.isatty():
            _note("Type what was found; Ctrl-D on a line of its own ends it.")
        try:
            raw = sys.stdin.buffer.read(most + 1)
        except OSError as error:
            refuse(f"{name} cannot be read: {(error.strerror or 'unknown reason').lower()}.")
    else:
        raw = read_up_to(file, most + 1, kind="a text file")
    if len(raw) > most:
        refuse(
            f"{name} has more than {most:,} bytes; no inspection is that long.",
            hint="Is this the right file?",
        )
    utf16 = raw.startswith((b"\xff\xfe", b"\xfe\xff"))
    try:
        text = raw.decode("utf-16" if utf16 else "utf-8-sig")
    except UnicodeDecodeError:
        text = "\0"
    if "\0" in text:
        refuse(
            f"{name} is not plain text in UTF-8.",
            hint="A recording is given without --text; a document has to be saved as plain text first.",
        )
    return text


@click.group(
    cls=_OneSentence, invoke_without_command=True, context_settings={"help_option_names": ["-h", "--help"]}
)
@click.version_option(__version__, prog_name="voicecheck")
@click.pass_context
def main(context: click.Context) -> None:
    """Turns a spoken vehicle inspection into a draft estimate."""
    if context.invoked_subcommand is None:
        click.echo(context.get_help())


# -- draft and listen ----------------------------------------------------------------------------------------


@main.command()
@click.argument("file", type=click.Path(path_type=Path, allow_dash=True))
@click.option("--text", "typed", is_flag=True, help="FILE holds typed words (- is standard input).")
@click.option("--json", "as_json", is_flag=True, help="Print the whole draft as one JSON document.")
@click.option("--html", "html_out", type=_PATH, metavar="OUT", help="Write the draft as a page.")
@click.option("--csv", "csv_out", type=_PATH, metavar="OUT", help="Write the lines as a spreadsheet.")
@click.option("--json-out", "json_out", type=_PATH, metavar="OUT", help="Write the JSON document to a file.")
@_model_option
@_shop_options("market", "lexicon", "catalogue", "prices")
def draft(
    *,
    file: Path,
    typed: bool,
    as_json: bool,
    html_out: Path | None,
    csv_out: Path | None,
    json_out: Path | None,
    model: str,
    shop: _Shop,
) -> None:
    """Make a draft estimate from FILE.

    FILE is a recording (wav, mp3, m4a, ogg, opus, webm, mp4, mov) or, with --text, typed words.
    """
    from voicecheck.documents import CSV_ENCODING, draft_table, to_csv, to_html, to_json, write_text

    documents = [
        (out, render, encoding)
        for out, render, encoding in (
            (html_out, to_html, "utf-8"),
            (csv_out, to_csv, CSV_ENCODING),
            (json_out, to_json, "utf-8"),
        )
        if out is not None
    ]
    if not typed:
        _check_recording_path(file)
    check_outputs([out for out, _, _ in documents], inputs=(file, shop.catalogue, shop.prices))
    made = _draft_of_text(file, shop) if typed else _draft_of_recording(file, shop, model)
    rendered = [(out, render(made), encoding) for out, render, encoding in documents]
    for out, text, encoding in rendered:  # none is written before all could be made
        write_text(out, text, encoding=encoding)
    if as_json:
        _print_json(to_json(made))
    else:
        _print_table(draft_table(made))
    _tell_times(made.timings, made.recording.seconds)
    for out, _, _ in documents:
        _note(f"Wrote {out}")


def _draft_of_text(file: Path, shop: _Shop) -> Draft:
    from voicecheck.pipeline import draft_from_transcript, text_recording, timed, transcript_from_text

    took: dict[str, float] = {}
    text = _typed_text(file)
    transcript = transcript_from_text(text)
    with timed(took, "loading"):
        workshop = shop.workshop()
    recording = text_recording("typed notes" if str(file) == "-" else file.name, text)
    return draft_from_transcript(workshop, transcript, recording=recording, timings=took)


def _draft_of_recording(file: Path, shop: _Shop, model: str) -> Draft:
    from voicecheck.pipeline import draft_from_file, timed

    took: dict[str, float] = {}
    with _progress() as tell:
        tell("loading", 0.0)
        with timed(took, "loading"):
            workshop = shop.workshop()
            tell("loading", 0.5)
            recogniser = _recogniser(model)
        tell("loading", 1.0)
        return draft_from_file(workshop, file, recogniser, progress=tell, timings=took)


def _tell_times(took: Mapping[str, float], seconds: float | None) -> None:
    """How long each stage took, and, for a recording of ``seconds``, how that compares with its length."""
    _note("Time: " + ", ".join(f"{stage} {spent:.2f} s" for stage, spent in took.items()) + ".")
    if seconds:
        spent = sum(took.values())
        _note(f"{seconds:.0f} s of recording took {spent:.1f} s ({spent / seconds:.2f} of its length).")


@main.command()
@click.argument("file", type=click.Path(path_type=Path, allow_dash=True))
@click.option("--text", "typed", is_flag=True, help="FILE holds typed words (- is standard input).")
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of text.")
@click.option("--html", "html_out", type=_PATH, metavar="OUT", help="Write the explanation as a page.")
@_model_option
@_shop_options("market", "lexicon", "catalogue", "prices")
def explain(
    *, file: Path, typed: bool, as_json: bool, html_out: Path | None, model: str, shop: _Shop
) -> None:
    """Show clause by clause how FILE is understood: which row or rule marked what, and what became of it.

    FILE is a recording or, with --text, typed words, as for draft; the findings are those of the draft.
    """
    from voicecheck.documents import explanation_html, explanation_json, explanation_table, write_text

    if not typed:
        _check_recording_path(file)
    outputs = [] if html_out is None else [html_out]
    check_outputs(outputs, inputs=(file, shop.catalogue, shop.prices))
    told = _explanation_of_text(file, shop) if typed else _explanation_of_recording(file, shop, model)
    for out in outputs:
        write_text(out, explanation_html(told))
    if as_json:
        _print_json(explanation_json(told))
    else:
        _print_table(explanation_table(told))
    for out in outputs:
        _note(f"Wrote {out}")


def _explanation_of_text(file: Path, shop: _Shop) -> Explanation:
    from voicecheck.pipeline import explain_transcript, text_recording, transcript_from_text

    text = _typed_text(file)
    transcript = transcript_from_text(text)
    recording = text_recording("typed notes" if str(file) == "-" else file.name, text)
    return explain_transcript(shop.workshop(), transcript, recording=recording)


def _explanation_of_recording(file: Path, shop: _Shop, model: str) -> Explanation:
    from voicecheck.pipeline import explain_transcript
    from voicecheck.pipeline import listen as hear

    with _progress() as tell:
        tell("loading", 0.0)
        workshop = shop.workshop()
        tell("loading", 0.5)
        recogniser = _recogniser(model)
        tell("loading", 1.0)
        transcript, recording = hear(workshop.lexicon, file, recogniser, progress=tell)
    return explain_transcript(workshop, transcript, recording=recording)


@main.command()
@click.argument("file", type=click.Path(path_type=Path, allow_dash=True))
@click.option("--plain", is_flag=True, help="Neither hot words nor repairs: what the engine hears by itself.")
@_json_option
@_model_option
@_shop_options("market", "lexicon")
def listen(*, file: Path, plain: bool, as_json: bool, model: str, shop: _Shop) -> None:
    """Print the transcript of the recording FILE, with times, certainties, and repairs with their reasons."""
    from voicecheck.documents import transcript_table
    from voicecheck.pipeline import listen as hear
    from voicecheck.pipeline import timed

    _check_recording_path(file)
    took: dict[str, float] = {}
    with _progress() as tell:
        tell("loading", 0.0)
        with timed(took, "loading"):
            lexicon = shop.load_lexicon()
            tell("loading", 0.5)
            recogniser = _recogniser(model, ear="plain" if plain else None)
        tell("loading", 1.0)
        transcript, recording = hear(lexicon, file, recogniser, progress=tell, timings=took)
    if as_json:
        _print_json(transcript.model_dump_json(indent=2))
    else:
        _print_table(transcript_table(transcript))
    _tell_times(took, recording.seconds)


# -- checks --------------------------------------------------------------------------------------------------


@main.group(name="lexicon", no_args_is_help=False)
def lexicon_group() -> None:
    """The shop's words."""


@lexicon_group.command(name="check")
@click.argument("folder", metavar="[DIR]", type=_PATH, required=False)
def lexicon_check(*, folder: Path | None) -> None:
    """Name every fault in the term files of DIR.

    They are checked as they are used, laid over the shipped ones. Without DIR the shipped ones are checked.
    """
    from voicecheck.lexicon import check_lexicon
    from voicecheck.records.wording import counted
    from voicecheck.resources import lexicon_dir

    shipped = lexicon_dir()
    if folder is not None:
        _check_folder(folder)
    if folder is None or folder.resolve() == shipped.resolve():
        _report(check_lexicon(shipped), what="term files")
        return
    # A doubt about the shipped files alone is none of the shop's business; one that only comes up
    # together with the shop's files is, in whichever of the two it is found.
    known = [p for p in check_lexicon(shipped) if p.severity == "warning"]
    both = check_lexicon(shipped, folder)
    if hidden := sum(p in known for p in both):
        _note(
            f"({counted(hidden, 'warning')} about the shipped term files alone: “voicecheck lexicon check”.)"
        )
    _report([p for p in both if p not in known], what="term files")


@main.group(name="catalogue", no_args_is_help=False)
def catalogue_group() -> None:
    """The shop's labour catalogue."""


@catalogue_group.command(name="check")
@click.argument("file", type=_PATH)
@_shop_options("lexicon")
def catalogue_check(*, file: Path, shop: _Shop) -> None:
    """Name every fault in the labour catalogue FILE."""
    from voicecheck.catalogue import check_catalogue

    if not file.exists():
        refuse(f"There is no file {file}.")
    lexicon = shop.load_lexicon()
    _report(check_catalogue(file, component_ids=lexicon.components.keys()), what="catalogue")


def _report(problems: Sequence[Problem], *, what: str) -> None:
    """Every problem on a line of stdout, the verdict on stderr and in the status."""
    from voicecheck.records.wording import counted

    errors = sum(p.severity == "error" for p in problems)
    warnings = len(problems) - errors
    with to_stdout():
        for problem in problems:
            click.echo(f"{problem.severity}: {problem}")
    counts = [counted(n, noun) for n, noun in ((errors, "error"), (warnings, "warning")) if n]
    can = "cannot" if errors else "can"
    _note(f"The {what} {can} be used{': ' if counts else ''}{' and '.join(counts)}.")
    if errors:
        sys.exit(UNUSABLE)


# -- measure, weights, doctor --------------------------------------------------------------------------------


@main.command()
@click.argument("folder", type=_PATH)
@click.option("--audio/--no-audio", default=True, show_default=True, help="Score the recordings too.")
@click.option("--detail", is_flag=True, help="List every wrong, missed and surplus finding and line.")
@click.option("--ear", is_flag=True, help="Score hearing alone: plain, with hot words, and the full ear.")
@click.option(
    "--conditions", metavar="NAMES", help="With --ear: clean, noise10, phone … with commas between, or all."
)
@click.option(
    "--limit-minutes",
    type=click.FloatRange(min=0, min_open=True),
    metavar="N",
    help="With --ear: no more recording than this, voices in turn.",
)
@click.option(
    "--recordings", type=_PATH, metavar="DIR", help="With --ear: more recordings of the same texts."
)
@click.option(
    "--noise", type=_PATH, metavar="DIR", help="With --ear: recordings of real noise, for real10 …."
)
@click.option("--keep", type=_PATH, metavar="FILE", help="With --ear: keep what is heard, go on from there.")
@_json_option
@_model_option
@_shop_options("lexicon", "catalogue")
def measure(
    *,
    folder: Path,
    audio: bool,
    detail: bool,
    ear: bool,
    conditions: str | None,
    limit_minutes: float | None,
    recordings: Path | None,
    noise: Path | None,
    keep: Path | None,
    as_json: bool,
    model: str,
    shop: _Shop,
) -> None:
    """Score the labelled narrations in FOLDER, from their texts and their recordings."""
    from voicecheck.measure import measure_folder, report_json, report_tables
    from voicecheck.measure.run import failures

    if ear:
        for given, name in ((not audio, "--no-audio"), (detail, "--detail")):
            if given:
                refuse(f"{name} does not go with --ear: it scores hearing alone.")
        _check_folder(folder)
        _measure_ear(
            folder,
            conditions=conditions or "clean",
            limit_minutes=limit_minutes,
            recordings=recordings,
            noise=noise,
            keep=keep,
            as_json=as_json,
            model=model,
            shop=shop,
        )
        return
    for given, name in (
        (conditions is not None, "--conditions"), (limit_minutes is not None, "--limit-minutes"),
        (recordings is not None, "--recordings"), (noise is not None, "--noise"),
        (keep is not None, "--keep"),
    ):  # fmt: skip
        if given:
            refuse(f"{name} goes with --ear only.")
    _check_folder(folder)
    with _progress() as tell:
        report = measure_folder(
            folder,
            workshop_for=shop.workshop,
            recogniser=_recogniser(model) if audio else None,
            progress=tell,
        )
    if as_json:
        _print_json(json.dumps(report_json(report), indent=2, ensure_ascii=False))
    else:
        _print_table(*report_tables(report, detail=detail))
    for name, why in failures(report.sound) if report.sound is not None else ():
        _note(f"No draft of {name}: {why}")


def _measure_ear(
    folder: Path,
    *,
    conditions: str,
    limit_minutes: float | None,
    recordings: Path | None,
    noise: Path | None,
    keep: Path | None,
    as_json: bool,
    model: str,
    shop: _Shop,
) -> None:
    from voicecheck.measure.ear import EARS, measure_ear
    from voicecheck.measure.ear_conditions import conditions_named, load_real_noise
    from voicecheck.measure.ear_process import ear_mark, ear_processes
    from voicecheck.measure.ear_tables import ear_json, ear_tables

    chosen = conditions_named(conditions.split(","))
    for more in (recordings, noise):
        if more is not None:
            _check_folder(more)
    real = load_real_noise(noise) if noise is not None else None
    mark = ear_mark(model=model, lexicon_folder=shop.lexicon)
    with (
        _progress() as tell,
        ear_processes(EARS, model=model, lexicon_folder=shop.lexicon, progress=tell) as listeners,
    ):
        report = measure_ear(
            folder,
            listeners=listeners,
            lexicon_for=lambda market: shop._replace(market=market).load_lexicon(),
            conditions=chosen,
            model=model,
            limit_s=None if limit_minutes is None else 60 * limit_minutes,
            recordings=recordings,
            real=real,
            keep=keep,
            mark=mark,
            progress=tell,
        )
    if as_json:
        _print_json(json.dumps(ear_json(report), indent=2, ensure_ascii=False))
    else:
        _print_table(*ear_tables(report))


@main.command()
@click.argument("name", default="base")
def weights(*, name: str) -> None:
    """Fetch the speech weights NAME (base or tiny.en), once."""
    from voicecheck.speech import fetch

    folder = fetch(name, progress=_note)
    with to_stdout():
        click.echo(str(folder))


@main.command()
@_model_option
def doctor(*, model: str) -> None:
    """Say what is installed, which weights there are, and whether a self-test hears speech."""
    from voicecheck.speech import find_model, known_weights, self_test, verify

    with to_stdout():
        for line in _installed():
            click.echo(line)
    find_model(model)  # says how to get it where it is missing
    if model in known_weights():
        verify(model)
    result = self_test(_recogniser(model))
    verdict = "as expected" if result.ok else f"NOT as expected: {' '.join(result.expected)}"
    with to_stdout():
        click.echo(f"Self-test with {model}: heard “{result.heard}” in {result.seconds:.1f} s, {verdict}.")
    if not result.ok:
        sys.exit(SELF_TEST_FAILED)


def _installed() -> Iterator[str]:
    import platform
    from importlib.metadata import PackageNotFoundError, version

    from voicecheck.records import MissingModelError
    from voicecheck.records.wording import counted
    from voicecheck.resources import lexicon_dir, shared_dir
    from voicecheck.speech import find_model, known_weights

    machine = f"{platform.system()} {platform.machine()}, {counted(_cores(), 'core')}"
    yield f"voicecheck {__version__}, Python {platform.python_version()}, {machine}"
    for engine in ENGINES:
        try:
            yield f"  {engine} {version(engine)}"
        except PackageNotFoundError:
            yield f"  {engine} is not installed"
    yield f"Term files: {lexicon_dir()}"
    yield f"Shop data: {shared_dir()}"
    for name in known_weights():
        try:
            yield f"Weights {name}: {find_model(name)}"
        except MissingModelError as error:
            yield f"Weights {name}: not usable. {error.message}"


def _cores() -> int:
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


register_bring(main)
register_papers(main)
register_shop(main)
register_keep(main)
main.add_command(serve)

if __name__ == "__main__":
    main()
