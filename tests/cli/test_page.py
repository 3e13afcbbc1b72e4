"""`partscreen page`: the address it tells, the warning it owes, and what it does not load."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import urllib.error
import urllib.request

import pytest
from typer.testing import CliRunner

from partscreen.cli.app import app


def started(*arguments: str) -> tuple[subprocess.Popen[str], str]:
    """A page in a process of its own, and what it said until the line with its address."""
    code = "from partscreen.cli.app import main; main()"
    command = [sys.executable, "-c", code, "page", "--no-browser", "--port", "0", *arguments]
    run = subprocess.Popen(command, stderr=subprocess.PIPE, text=True, env={**os.environ, "OMP_NUM_THREADS": "1"})
    said = ""
    while "The page: " not in said:
        line = run.stderr.readline()
        if not line:
            pytest.fail(said)
        said += line
    return run, said


def address(said: str) -> str:
    return re.search(r"The page: (\S+)", said)[1]


def ended(run: subprocess.Popen[str]) -> int:
    run.send_signal(signal.SIGINT)
    run.communicate(timeout=30)
    return run.returncode


def test_the_page_tells_its_address_answers_there_and_ends_by_ctrl_c():
    run, said = started()
    try:
        assert address(said).startswith("http://127.0.0.1:")
        assert "Warning" not in said
        with urllib.request.urlopen(address(said), timeout=30) as answer:
            assert b"Is the part what its marking says?" in answer.read()
    finally:
        code = ended(run)
    assert code == 0


@pytest.mark.skipif(
    sys.platform != "linux", reason="all of 127/8 is this machine's own there; no other address is sure"
)
def test_another_address_comes_with_a_warning_and_a_token():
    run, said = started("--address", "0.0.0.0", "--name", "127.0.0.1")
    try:
        assert "Warning: other machines can reach this page." in said
        told = address(said)
        assert re.search(r"/\?token=\S{30,}", told)
        with pytest.raises(urllib.error.HTTPError, match="403"):
            urllib.request.urlopen(told.partition("?")[0], timeout=30)
    finally:
        assert ended(run) == 0


def test_an_address_that_cannot_be_used_is_told():
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen(1)
        port = str(taken.getsockname()[1])
        result = CliRunner().invoke(app, ["page", "--no-browser", "--port", port])
    assert result.exit_code == 3
    assert "cannot listen" in result.output
    assert "--port 0" in result.output
    assert CliRunner().invoke(app, ["page", "--no-browser", "--port", "99999"]).exit_code == 3
    assert "--name" in CliRunner().invoke(app, ["page", "--no-browser", "--address", "0.0.0.0"]).output


def test_the_web_framework_is_not_loaded_by_other_commands():
    web = "('starlette', 'uvicorn', 'anyio', 'jinja2')"
    code = f"import sys, partscreen.cli.app; print([m for m in {web} if m in sys.modules])"
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "[]"
