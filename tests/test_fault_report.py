"""A fault of our own is written down, and is told in words at the door."""

import errno
import os

import pytest
from click.testing import CliRunner

from zoneplan import fault_report
from zoneplan.cli import OUR_FAULT, main
from zoneplan.fault_report import MOST_KEPT, write_report


@pytest.fixture(autouse=True)
def state(tmp_path, monkeypatch):
    """Where reports go."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setenv("LOCALAPPDATA", str(tmp_path / "state"))
    return tmp_path / "state" / "zoneplan" / "faults"


def fault(words="no such thing"):
    try:
        raise KeyError(words)
    except KeyError as error:
        return error


def test_a_report_says_where_in_the_program_and_with_what(state):
    path = write_report(fault(), "a test")
    assert path.parent == state
    text = path.read_text()
    assert "Doing: a test" in text
    assert "zoneplan 0." in text
    assert "KeyError: 'no such thing'" in text
    assert "test_fault_report.py" in text


def test_reports_do_not_fill_a_disk(state):
    for number in range(MOST_KEPT + 5):
        write_report(fault(), f"time {number}")
    assert len(list(state.iterdir())) == MOST_KEPT
    long = write_report(fault("x" * 10**6), "one that is long")
    assert long.stat().st_size < 2 * 10**5


def test_where_no_folder_takes_it_there_is_none(monkeypatch, tmp_path):
    in_the_way = tmp_path / "file"
    in_the_way.touch()
    monkeypatch.setenv("XDG_STATE_HOME", str(in_the_way))
    monkeypatch.setenv("LOCALAPPDATA", str(in_the_way))
    monkeypatch.setattr(fault_report.tempfile, "gettempdir", lambda: str(in_the_way))
    assert write_report(fault(), "a test") is None


@pytest.fixture
def broken(monkeypatch):
    """A command that meets a fault of ours."""

    def break_with(error):
        def read_rules(_):
            raise error

        monkeypatch.setattr("zoneplan.rules.read.read_rules", read_rules)
        return CliRunner().invoke(main, ["rules", "show"])

    return break_with


def test_the_command_line_says_that_it_is_our_fault_and_keeps_a_report(broken, state):
    result = broken(KeyError("soil"))
    assert result.exit_code == OUR_FAULT
    assert result.stdout == ""
    assert "A fault of zoneplan, not yours: KeyError." in result.stderr
    assert "Traceback" not in result.stderr
    (path,) = state.iterdir()
    assert str(path) in result.stderr
    assert "Doing: zoneplan rules" in path.read_text()


def test_a_reader_that_goes_away_is_no_fault(broken, state):
    result = broken(OSError(errno.EPIPE, os.strerror(errno.EPIPE)))
    assert result.exit_code == 1
    assert not state.exists()


def test_names_do_not_steer_the_terminal(tmp_path):
    evil = "\x1b[2J\x9b2J\u202e"
    for arguments in (
        ["rules", "check", str(tmp_path / f"{evil}.toml")],
        ["machine", "show", evil],
        ["machine", "new", evil],
        ["plan", f"--{evil}"],
        [evil],
    ):
        result = CliRunner().invoke(main, arguments)
        assert result.exit_code in (1, 2), arguments
        for letter in evil.replace("[2J", "").replace("2J", ""):
            assert letter not in result.output, arguments
        assert "\\x1b" in result.output or "u001b" in result.output, arguments
