"""Make the folder for two lessons."""

from fieldkit.cli.status import OK

HELP = "make a folder for two lessons: notebooks for teacher and class, sheets to print"


def declare(sub):
    """Declare what the command takes."""
    sub.add_argument("folder", help="the folder to make")


def run(arguments):
    """Make the folder for two lessons."""
    from fieldkit.classroom import folder as report

    files = report.write(arguments.folder)
    print(f"Made {arguments.folder}. Start with README.txt in it.")
    print("\n".join(f"- {file}" for file in files))
    return OK
