"""The command `fieldkit`: one file a command, each a thin layer that parses, calls and prints; it computes nothing."""

import argparse
import contextlib
import importlib
import io
import os
import sys

from fieldkit import __version__
from fieldkit.cli.status import BROKEN, MISTAKE, OK, STOPPED
from fieldkit.core import FieldkitError, trouble, visible

__all__ = ["BROKEN", "MISTAKE", "OK", "STOPPED", "main"]

# In the order of the work. A file of this package of that name holds HELP, declare(parser) and run(arguments).
COMMANDS = ("new", "plan", "check", "writeup", "pool", "reproduce", "share", "audit", "compare", "trial", "classroom")


def _parser():
    parser = argparse.ArgumentParser(
        prog="fieldkit",
        description="From a season of watching wild reptiles bask to numbers a keeper can use.",
        epilog="Exit status: 0 done, 1 a fault of fieldkit, 2 a mistake that you can mend.",
    )
    parser.add_argument("--version", action="version", version=f"fieldkit {__version__}")
    common = argparse.ArgumentParser(add_help=False)
    common.add_argument("--debug", action="store_true", help="show the call stack when something fails")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND")
    for name in COMMANDS:
        command = importlib.import_module(f"fieldkit.cli.{name}")
        sub = commands.add_parser(name, help=command.HELP, description=command.HELP, parents=[common])
        sub.set_defaults(run=command.run)
        command.declare(sub)
    return parser


class _Visible(io.TextIOBase):
    """Standard output on which no control code of somebody's files reaches the terminal."""

    def __init__(self, stream):
        self._stream = stream

    def write(self, text):
        return self._stream.write(visible(text))

    def flush(self):
        self._stream.flush()

    def fileno(self):
        return self._stream.fileno()

    def isatty(self):
        return self._stream.isatty()


def main(argv=None):
    """Run one command.

    Parameters
    ----------
    argv : list of str, optional
        Arguments; those of the process by default.

    Returns
    -------
    int
        0 done, 1 a fault of fieldkit, 2 a mistake that the user can mend, 130 stopped by hand.

    Examples
    --------
    >>> main(["check", "no_such_folder"])
    1 error in no_such_folder:
    <BLANKLINE>
    ERROR    no_such_folder
             There is no such folder.
             What to do: Check the spelling of the path.
    2
    """
    for stream in (sys.stdout, sys.stderr):
        # A console that lacks a letter shows ? for it rather than failing.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    parser = _parser()
    arguments = parser.parse_args(argv)
    if not hasattr(arguments, "run"):
        parser.print_help()
        return MISTAKE
    try:
        with contextlib.redirect_stdout(_Visible(sys.stdout)):
            status = arguments.run(arguments)
            # A disk that is full is noticed here and not after the last word.
            sys.stdout.flush()
        return status
    except KeyboardInterrupt:
        print("Stopped.", file=sys.stderr)
        return STOPPED
    except BrokenPipeError:
        # The reader of our output (head, less) has left: nothing to say to anyone.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return STOPPED
    except Exception as error:
        if arguments.debug:
            raise
        mend = str(error) if isinstance(error, FieldkitError) else trouble(error)
        if mend is not None:
            print(visible(mend), file=sys.stderr)
            return MISTAKE
        print(
            visible(
                f"Something failed inside fieldkit that should not ({type(error).__name__}: {error}).\nYour records "
                "were not changed. Please report it: run the same command with --debug added and send what it prints, "
                f"with the version (fieldkit {__version__}), where you got fieldkit from."
            ),
            file=sys.stderr,
        )
        return BROKEN
