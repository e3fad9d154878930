"""Make a season or enclosure folder that is ready to fill."""

import sys

from fieldkit.cli.status import OK
from fieldkit.core import check_empty

HELP = "make a season or enclosure folder that is ready to fill; nothing is overwritten"


def declare(sub):
    """Declare what the command takes."""
    sub.add_argument("folder", help="the folder to make")
    sub.add_argument(
        "--enclosure", action="store_true", help="for an enclosure to audit, not for a season in the field"
    )


def run(arguments):
    """Make a season or enclosure folder that is ready to fill."""
    if arguments.enclosure:
        from fieldkit.captive import targets
        from fieldkit.records.enclosure import template as enclosure_template

        folder = enclosure_template.new_folder(arguments.folder, targets=targets.template())
        settings = "enclosure.toml"
    else:
        from fieldkit.records.season import template

        check_empty(arguments.folder)
        answers = {}
        if sys.stdin is not None and sys.stdin.isatty():
            print("A few questions first. Enter leaves one for later; all can be changed in season.toml.\n")
            answers = template.ask()
        folder, settings = template.new_folder(arguments.folder, answers=answers), "season.toml"
    print(f"Made {folder}. Start with README.txt in it; then fill in {settings} and the tables you use.")
    return OK
