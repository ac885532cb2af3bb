"""Words from outside do nothing where they are shown."""

import json
import logging
import warnings

import pytest

from zoneplan.harmless import guard_terminal, in_file_name, in_json_line, in_markdown, on_terminal

STEERING = {  # by what it would do to a terminal
    "clear the screen": "\x1b[2J",
    "the same in one character": "\x9b2J",
    "name the window": "\x1b]0;owned\x07",
    "write over the line": "fine\rbad",
    "turn the direction": "txt.\u202egpj",
    "begin a line": "a\u2028b",
    "ring": "\x07",
    "go back": "ab\x08c",
    "not to be encoded": "\udcff",
}


@pytest.mark.parametrize("text", STEERING.values(), ids=STEERING)
def test_nothing_steers_a_terminal(text):
    shown = on_terminal(text)
    assert shown.isprintable()
    shown.encode()
    line = in_json_line(json.dumps({"name": text}, ensure_ascii=False))
    assert line.isprintable()
    assert json.loads(line) == {"name": text}


def test_words_of_every_script_stay_as_they_are():
    for text in ("Müller’s 40, south", "أرض الشمال", "क्षेत्र", "北の畑", "a\tb\nc"):
        assert on_terminal(text) == text
        assert in_json_line(text) == text


def test_markdown_keeps_one_line_and_no_sign_of_its_own():
    assert in_markdown("a\n# b") == "a \\# b"
    assert in_markdown("plain words, 40 acres") == "plain words\\, 40 acres"


def test_libraries_do_not_steer_it_either():
    guard_terminal()
    logged = logging.makeLogRecord({"msg": "cannot read %s", "args": ("\x1b[2J.tif",)})
    assert logging.lastResort.format(logged) == "cannot read \\x1b[2J.tif"
    assert "\\x9b2J" in warnings.formatwarning("\x9b2J", UserWarning, "reader.py", 3)


ON_DISK = (
    *("../../etc", "A/B", "A:B", "CON", "nul.txt", "com1.", "🌽🚜", "x" * 300, "", " . ", "-rf"),
    *("a\x1b[2J", "txt.\u202egpj", "\udcff", "a\nb", "Smith", "Zoë & Sons, 40"),
)


@pytest.mark.parametrize("text", ON_DISK)
def test_a_name_of_a_file_stays_in_its_folder_on_any_disk(text):
    name = in_file_name(text)
    assert name
    assert name.isprintable()
    assert len(name.encode()) <= 4 * 67
    assert not set(name) & set('<>:"/\\|?*')
    assert name[0] not in " .-"
    assert name[-1] not in " ."
    assert name.partition(".")[0].upper() not in {"CON", "NUL", "COM1"}


def test_names_of_files_are_as_unlike_as_their_texts():
    assert len({in_file_name(text).casefold() for text in ON_DISK}) == len(ON_DISK)
