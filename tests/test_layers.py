"""The layers of DEVELOPERS.md, read from every import."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parent.parent / "voicecheck"

# package -> what it may import of ours
MAY_IMPORT = {
    "records": set(),
    "recording": {"records"},
    "resources": {"records"},
    "writing": set(),
    "lexicon": {"records"},
    "speech": {"records", "recording", "lexicon"},
    "catalogue": {"records", "lexicon", "resources"},
    "bring": {"records", "writing", "lexicon", "catalogue", "resources"},
    "language": {"records", "lexicon"},
    "findings": {"records", "lexicon", "language"},
    "second": {"records", "findings", "resources"},
    "estimate": {"records", "lexicon"},
    "papers": {"records"},
    "documents": {"records", "writing"},
    "pipeline": {
        "records", "resources", "recording", "speech", "lexicon", "catalogue", "language", "findings",
        "second", "estimate",
    },
    "measure": {
        "records", "resources", "recording", "speech", "lexicon", "catalogue", "language", "findings",
        "estimate",
        "documents", "pipeline",
    },
    "cli": {
        "records", "resources", "recording", "speech", "lexicon", "catalogue", "language", "findings",
        "estimate",
        "documents", "pipeline", "measure", "cli_bring", "cli_common", "cli_keep", "cli_papers", "cli_serve",
        "cli_shop",
    },
    "store": {"records", "writing"},
    "desk": {"records", "lexicon", "estimate"},
    "shop": {
        "records", "resources", "recording", "speech", "lexicon", "catalogue", "language", "findings",
        "estimate", "papers", "documents", "pipeline", "store", "desk", "bring", "writing",
    },
    "cli_keep": {"records", "shop"},
    "cli_serve": {"records", "shop"},
    "cli_shop": {"records", "resources", "store", "shop"},
    "cli_papers": {
        "records", "resources", "lexicon", "catalogue", "estimate", "papers", "documents", "cli_common",
    },
    "cli_bring": {"records", "resources", "lexicon", "bring", "documents", "cli_common"},
    "cli_common": {"records", "documents"},
    "__main__": {"cli"},
    "__init__": set(),
}  # fmt: skip

# engine -> the one module that may import it
ADAPTERS = {
    "av": {"recording/media.py", "recording/stills.py"},
    "faster_whisper": {"speech/whisper.py"},
    "spacy": {"lexicon/matcher.py"},
    "onnxruntime": {"second/model.py"},
    "tokenizers": {"second/model.py"},
    "rapidfuzz": {"estimate/names.py"},
    "openpyxl": {"bring/sheets.py"},
    "alembic": {"store/migrate.py", "store/migrations/env.py", "store/migrations/versions/v0001_first.py"},
    "dbos": {"shop/work/durable.py"},
    "fsspec": {"store/media.py"},
    "text_to_num": {"language/quantities.py", "measure/words.py"},
    "jinja2": {"documents/page.py"},
    "reportlab": {"documents/pdf.py"},
    "PIL": {"shop/pictures.py"},
    "argon2": {"shop/web/auth.py"},
    "limits": {"shop/web/limits.py"},
    "cryptography": {"shop/tls.py"},
    "uvicorn": {"shop/serve.py"},
    "segno": {"shop/web/qr.py"},
    "jiwer": {"measure/words.py"},
    "pint": {"records/units.py"},
    "vininfo": {"findings/vin.py"},
}

PURE = ("language", "findings", "estimate", "desk", "papers", "records")
FORBIDDEN_IN_PURE = {
    "os", "pathlib", "io", "time", "datetime", "random", "socket", "subprocess", "shutil", "logging", "open",
}  # fmt: skip


def modules() -> list[Path]:
    return sorted(path for path in PACKAGE.rglob("*.py") if "_data" not in path.parts)


def imports(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            assert node.module is not None
            found.add(node.module)
            if node.module == "voicecheck":
                found.update(f"voicecheck.{alias.name}" for alias in node.names)
    return found


def layer_of(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_only_lower_layers(path: Path) -> None:
    layer = layer_of(path)
    assert layer in MAY_IMPORT, f"{layer} is not in the table of layers"
    for name in imports(path):
        if not name.startswith("voicecheck."):
            continue
        target = name.split(".")[1]
        if target in ("__version__", layer):
            continue
        assert target in MAY_IMPORT[layer], f"{path.name} ({layer}) imports {name}"


@pytest.mark.parametrize("engine", sorted(ADAPTERS))
def test_each_engine_has_one_adapter(engine: str) -> None:
    users = {
        str(path.relative_to(PACKAGE))
        for path in modules()
        if any(name.split(".")[0] == engine for name in imports(path))
    }
    assert users, f"nobody uses {engine}: take it out of the table"
    assert users <= ADAPTERS[engine]


@pytest.mark.parametrize(
    "path", [p for p in modules() if layer_of(p) in PURE], ids=lambda p: str(p.relative_to(PACKAGE))
)
def test_domain_packages_do_no_input_or_output(path: Path) -> None:
    assert not {name.split(".")[0] for name in imports(path)} & FORBIDDEN_IN_PURE
    calls = {
        node.func.id
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
    }
    assert not calls & {"open", "print", "input"}


def test_importing_the_records_loads_no_engine() -> None:
    heavy = ["spacy", "faster_whisper", "ctranslate2", "av", "jinja2", "rich", "numpy", "pint"]
    code = f"import sys, voicecheck.records; print([m for m in {heavy!r} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_breach_is_seen(tmp_path: Path) -> None:
    bad = tmp_path / "bad.py"
    bad.write_text("from voicecheck.estimate import make_estimate\nimport voicecheck.shop.web\n")
    assert imports(bad) == {"voicecheck.estimate", "voicecheck.shop.web"}
