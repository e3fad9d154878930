"""Make the folder for two lessons."""

from fieldkit.cli.status import OK

HELP = "make a folder for two lessons: pages to read and print, workbooks, notebooks"


def declare(sub):
    """Declare what the command takes."""
    sub.add_argument("folder", help="the folder to make")
    sub.add_argument(
        "--all-notebooks",
        action="store_true",
        help="also make a page to read, without Python, of every guided notebook",
    )


def run(arguments):
    """Make the folder for two lessons."""
    from fieldkit.classroom import folder as report

    files = report.write(arguments.folder, all_notebooks=arguments.all_notebooks)
    print(f"Made {arguments.folder}. Start with README.txt in it.")
    print("\n".join(f"- {file}" for file in files))
    return OK
