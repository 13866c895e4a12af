"""Serving: the worker beside the server, the port, the self-made certificate, the command."""

from __future__ import annotations

import os
import signal
import socket
import ssl
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import httpx
import pytest
from shop_kit import make_shop

from voicecheck.records import InputError
from voicecheck.shop import serve
from voicecheck.shop.tls import VALID, own_certificate


def test_a_worker_that_dies_is_started_again(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(serve, "WAIT_FIRST", 0.05)
    note = tmp_path / "lives"
    command = [sys.executable, "-c", f"open({str(note)!r}, 'a').write('x'); raise SystemExit(3)"]
    keeper = serve.Keeper(command)
    keeper.start()
    end = time.monotonic() + 20
    while keeper.restarts < 2 and time.monotonic() < end:
        time.sleep(0.05)
    keeper.stop()
    keeper.join(10)
    assert keeper.restarts >= 2
    assert len(note.read_text()) >= 2
    assert not keeper.is_alive()


def test_stopping_ends_the_worker(tmp_path: Path) -> None:
    keeper = serve.Keeper([sys.executable, "-c", "import time; time.sleep(600)"])
    keeper.start()
    end = time.monotonic() + 10
    while keeper.pid is None and time.monotonic() < end:
        time.sleep(0.02)
    pid = keeper.pid
    assert pid is not None
    keeper.stop()
    keeper.join(10)
    assert keeper.pid is None
    with pytest.raises(ProcessLookupError):
        os.kill(pid, 0)


def test_a_taken_port_is_said_in_a_sentence(tmp_path: Path) -> None:
    shop = make_shop(tmp_path, work="none")
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        with pytest.raises(InputError, match="cannot be used"):
            serve.serve(shop.services, host="127.0.0.1", port=taken.getsockname()[1], worker=None)


def test_the_certificate_is_made_once_renewed_in_time_and_kept_private(tmp_path: Path) -> None:
    now = datetime(2031, 5, 6, tzinfo=UTC)
    certificate, key = own_certificate(tmp_path, names=["localhost", "127.0.0.1"], now=now)
    first = certificate.read_bytes()
    assert key.stat().st_mode & 0o077 == 0
    own_certificate(tmp_path, names=["localhost"], now=now + timedelta(days=10))
    assert certificate.read_bytes() == first
    own_certificate(tmp_path, names=["localhost", "shop.test"], now=now)
    second = certificate.read_bytes()
    assert second != first
    own_certificate(tmp_path, names=["localhost"], now=now + VALID - timedelta(days=5))
    assert certificate.read_bytes() != second
    certificate.write_text("damaged")
    own_certificate(tmp_path, names=["localhost"], now=now)
    assert b"BEGIN CERTIFICATE" in certificate.read_bytes()


def test_the_command_opens_the_shop_over_https(tmp_path: Path) -> None:
    """As an owner begins: one command, the link from the terminal, a page over the self-made certificate."""
    command = [sys.executable, "-m", "voicecheck.cli", "serve", "--data", str(tmp_path / "data")]
    server = subprocess.Popen(
        [*command, "--port", "0", "--https", "--no-worker"], stdout=subprocess.PIPE, text=True
    )
    try:
        assert server.stdout is not None
        address = server.stdout.readline().split()[3]
        assert address.startswith("https://127.0.0.1:")
        link = server.stdout.readline().split()[-1]
        trusted = ssl.create_default_context(cafile=str(tmp_path / "data" / "tls" / "certificate.pem"))
        with httpx.Client(verify=trusted) as client:
            page = client.get(link)
            assert page.status_code == 200
            assert "owner" in page.text
            form = {"name": "Olive", "login": "olive", "password": "wrench candle tuesday"}
            joined = client.post(link, data={**form, "again": form["password"]})
            assert "Secure" in joined.headers["set-cookie"]
            assert client.get(f"{address}/desk").status_code == 200
    finally:
        server.send_signal(signal.SIGTERM)
        server.wait(20)
    assert (tmp_path / "data" / "voicecheck.db").exists()
