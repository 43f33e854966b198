"""The service as a process: where it listens, and how it starts and stops."""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest

from motorfit.errors import MotorfitError
from motorfit_api.server import refuse_open_door, run
from motorfit_api.settings import LOOPBACK, Settings
from motorfit_api.tokens import TokenStore

COMMAND = "import sys; from motorfit.cli import main; main()"


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind((LOOPBACK, 0))
        return int(probe.getsockname()[1])


@pytest.mark.skipif(os.name == "nt", reason="no SIGINT for a child process")
def test_the_command_serves_until_it_is_interrupted(tmp_path: Path) -> None:
    port = _free_port()
    arguments = [sys.executable, "-c", COMMAND, "serve", "--library", str(tmp_path), "--port", str(port)]
    with subprocess.Popen(arguments, stderr=subprocess.PIPE, text=True) as server:
        try:
            for _ in range(600):
                try:
                    with urllib.request.urlopen(f"http://{LOOPBACK}:{port}/v1/motors") as answer:
                        assert json.load(answer)["motors"] == []
                    break
                except OSError:
                    assert server.poll() is None
                    time.sleep(0.05)
            else:
                pytest.fail("the service did not answer")
            server.send_signal(signal.SIGINT)
            _, told = server.communicate(timeout=30)
        finally:
            server.kill()
    assert f"http://{LOOPBACK}:{port}" in told
    assert "Traceback" not in told


def test_a_taken_port_is_told() -> None:
    with socket.socket() as holder:
        holder.bind((LOOPBACK, 0))
        holder.listen()
        port = holder.getsockname()[1]
        with pytest.raises(MotorfitError, match=f"port {port}: .*Choose a free one with --port"):
            run(Settings.of(Path("none")), port)


def test_a_public_address_without_a_token_is_refused(tmp_path: Path) -> None:
    settings = Settings.of(tmp_path, host="0.0.0.0")
    with pytest.raises(MotorfitError, match=r"there is no token yet\. Make one with `motorfit token create"):
        run(settings, _free_port())
    assert not list(tmp_path.iterdir())
    TokenStore(settings.state).create("write")
    refuse_open_door(settings)


def test_settings_reach_other_processes_whole(tmp_path: Path) -> None:
    settings = Settings.of(tmp_path, allow_hosts=("bench.example",), anonymous_read=True)
    assert Settings.from_environment(settings.to_environment()) == settings
    assert Settings.from_environment({"MOTORFIT_LIBRARY": str(tmp_path)}) == Settings.of(tmp_path)
    with pytest.raises(MotorfitError, match="MOTORFIT_SERVICE: not set"):
        Settings.from_environment({})
