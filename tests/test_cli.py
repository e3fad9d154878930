"""The command line: what it says, and with which exit status."""

import os
import subprocess
import sys
import types

import pytest
from season_folder import make, swap

import fieldkit
from fieldkit import cli
from fieldkit.core import FieldkitError


@pytest.fixture
def good(tmp_path):
    return make(tmp_path / "good")


def test_check_of_a_good_folder_says_how_it_was_read(good, capsys):
    assert cli.main(["check", str(good)]) == cli.OK
    said = capsys.readouterr().out
    assert "choices.csv: 5 rows of choices; cells separated by comma, decimal point, utf-8" in said
    assert f"Nothing wrong found in {good}." in said


def test_warnings_alone_leave_the_exit_status_at_nought(good, capsys):
    swap(good, "choices.csv", "33.0", "85.0")
    assert cli.main(["check", str(good)]) == cli.OK
    said = capsys.readouterr().out
    assert "1 warning" in said and 'row 2, column surface_c: "85.0"' in said


def test_new_makes_a_folder_once(tmp_path, capsys):
    assert cli.main(["new", str(tmp_path / "mine")]) == cli.OK
    assert "README.txt" in capsys.readouterr().out
    assert cli.main(["new", str(tmp_path / "mine")]) == cli.MISTAKE
    assert "nothing was changed" in capsys.readouterr().err
    assert cli.main(["check", str(tmp_path / "mine")]) == cli.MISTAKE
    assert "still to be filled in" in capsys.readouterr().out


def fake_writeup(monkeypatch, write):
    from fieldkit.report import writeup

    monkeypatch.setattr(writeup, "write", write)


def test_writeup_passes_on_what_was_asked_and_says_where_it_is(good, monkeypatch, capsys):
    asked = {}

    def write(path, out, **options):
        asked.update(options, path=path, out=out)
        return types.SimpleNamespace(sentence="They choose radiation.", html=out + "/index.html", cautions=())

    fake_writeup(monkeypatch, write)
    assert cli.main(["writeup", str(good), "--out", "there", "--only", "06", "08", "--authors", "the club"]) == cli.OK
    assert asked["path"] == str(good) and asked["only"] == ["06", "08"] and asked["authors"] == ["the club"]
    assert "They choose radiation.\nRead it: there/index.html" in capsys.readouterr().out
    assert cli.main(["writeup", "--demo", "--out", "there"]) == cli.OK
    assert asked["path"] is None
    assert cli.main(["writeup", "--out", "there"]) == cli.MISTAKE
    assert "--demo" in capsys.readouterr().err


def test_the_real_writeup_takes_the_arguments_that_are_passed():
    import inspect

    from fieldkit.report import writeup

    assert {"only", "authors", "licence", "data_at"} <= set(inspect.signature(writeup.write).parameters)


@pytest.mark.parametrize(
    ("error", "status", "words"),
    [
        (FieldkitError("The ledge is too warm: wait."), cli.MISTAKE, "The ledge is too warm: wait."),
        (ZeroDivisionError("division by zero"), cli.BROKEN, "Please report it"),
        (KeyboardInterrupt(), cli.STOPPED, "Stopped."),
    ],
)
def test_errors_become_words(error, status, words, good, monkeypatch, capsys):
    def write(path, out, **options):
        raise error

    fake_writeup(monkeypatch, write)
    assert cli.main(["writeup", str(good), "--out", "there"]) == status
    said = capsys.readouterr().err
    assert words in said and "Traceback" not in said and "Error:" not in said.replace("ZeroDivisionError:", "")


def test_debug_shows_the_call_stack(good, monkeypatch):
    def write(path, out, **options):
        raise ZeroDivisionError("division by zero")

    fake_writeup(monkeypatch, write)
    with pytest.raises(ZeroDivisionError):
        cli.main(["writeup", str(good), "--out", "there", "--debug"])


def test_help_loads_nothing_heavy():
    code = (
        "import sys, fieldkit.cli\n"
        "try: fieldkit.cli.main(['--help'])\n"
        "except SystemExit: pass\n"
        "print(sorted({'numpy', 'pandas', 'pandera', 'scipy', 'matplotlib', 'pvlib'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.rstrip().endswith("[]")
    for verb in ("new", "check", "writeup"):
        assert verb in done.stdout


def test_version_and_an_unknown_verb(capsys):
    with pytest.raises(SystemExit) as caught:
        cli.main(["--version"])
    assert caught.value.code == 0 and fieldkit.__version__ in capsys.readouterr().out
    with pytest.raises(SystemExit) as caught:
        cli.main(["bask"])
    assert caught.value.code == 2
    assert cli.main([]) == cli.MISTAKE


def test_a_console_without_letters_does_not_fail(good):
    swap(good, "season.toml", "Quarry 2023", "Größe ☀")
    swap(good, "choices.csv", "33.0", "33 °ツ")
    done = subprocess.run(
        [sys.executable, "-m", "fieldkit.cli", "check", str(good)],
        capture_output=True,
        env={"PYTHONIOENCODING": "ascii", "PATH": ""},
    )
    assert done.returncode == 2 and b"Traceback" not in done.stderr and b"surface_c" in done.stdout


def test_a_reader_that_leaves_early_is_no_fault(good):
    # head closes the pipe after one line; the sentences do not fit into the pipe's buffer.
    rows = "\n".join(f"2023-05-14 10:{n % 60:02d}:{n // 60:02d},none-{n},1" for n in range(600))
    (good / "loggers.csv").write_text("time,logger_id,value\n" + rows + "\n")
    code = "import sys; from fieldkit.cli import main; sys.exit(main(sys.argv[1:]))"
    check = subprocess.Popen(
        [sys.executable, "-c", code, "check", str(good)], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    check.stdout.readline()
    check.stdout.close()
    assert check.stderr.read() == b""
    check.stderr.close()
    assert check.wait() == cli.STOPPED


def test_control_codes_of_a_strangers_files_do_not_reach_the_terminal(good, capsys):
    swap(good, "choices.csv", "33.0", "33\x1b]0;owned\x07\x1b[2J\u202e")
    swap(good, "season.toml", "north wall", r"north\u001b[8m wall")
    assert cli.main(["check", str(good)]) == cli.MISTAKE
    said = "".join(capsys.readouterr())
    assert r"33\x1b]0;owned\x07\x1b[2J\u202e" in said
    assert not [letter for letter in said if (ord(letter) < 32 and letter != "\n") or 127 <= ord(letter) < 160]


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (OSError(28, "No space left on device", "there/index.html"), "there/index.html: there is no space left"),
        (PermissionError(13, "Permission denied", "x.csv"), "x.csv: you may not read or write it"),
        (OSError(36, "File name too long", "aaa"), "aaa: the name is too long"),
        (MemoryError(), "There is not enough memory"),
    ],
)
def test_what_the_system_refuses_is_a_sentence(good, error, words, monkeypatch, capsys):
    def write(path, out, **options):
        raise error

    fake_writeup(monkeypatch, write)
    assert cli.main(["writeup", str(good), "--out", "there"]) == cli.MISTAKE
    assert words in capsys.readouterr().err


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="needs a device that is always full")
def test_a_full_disk_under_the_output_is_said(good):
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "fieldkit.cli", "check", str(good)], stdout=full, stderr=subprocess.PIPE, text=True
        )
    assert done.returncode == cli.MISTAKE and "there is no space left" in done.stderr
    assert "Traceback" not in done.stderr and "Exception ignored" not in done.stderr
