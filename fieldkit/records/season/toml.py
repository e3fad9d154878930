"""A settings file as text: parsed, its slips said by line in plain words."""

import re
import tomllib

from .settings import NAME

# Sections within sections that the reader goes down into; settings need four.
DEEPEST = 20

_REMEDIES = (
    (r"=\s*\d{1,2}[./]\d{1,2}[./]\d{2,4}", "Write the date as year-month-day, such as 2023-05-14."),
    (r"=\s*[-+]?\d+,\d", "Write the number with a point, such as 36.1: TOML knows no decimal comma."),
    (
        r"=\s*[-+]?\d+\.?\d*\s*[°A-Za-z']",
        "Write the number alone, in the unit that the template names; south and west get a minus, such as -79.9.",
    ),
    (r"=\s*$", "Write a value behind the = sign, or take the line out."),
    (r"[“”„«»]", 'Use straight quotation marks: "like this".'),
    (r"=\s*[^\"'\d\[{+\-tfin]", 'Put text between straight quotation marks, such as name = "the quarry".'),
    (r"^\s*[^=\[#]+:\s", "Write an = sign between the name and the value."),
)


def parse(text, problems):
    """Parse the text of season.toml; a mistake is added to problems and None returned.

    Examples
    --------
    >>> from fieldkit.records.problems import Problems
    >>> found = Problems()
    >>> parse("[site]\\nlatitude_deg = 36,1\\n", found)
    >>> found.table().loc[0, "remedy"]
    'Write the number with a point, such as 36.1: TOML knows no decimal comma.'
    """
    lines = text.splitlines()
    read = None
    while read is None:
        try:
            read = tomllib.loads("\n".join(lines))
        except tomllib.TOMLDecodeError as error:
            found = re.search(r"line (\d+)", str(error))
            row = min(int(found[1]) if found else len(lines), len(lines))
            _say_line(lines[row - 1], row, str(error), problems)
            # The other lines are looked at too; without its heading a section would fall to the one before it.
            if lines[row - 1].lstrip().startswith("[") or lines[row - 1] == "":
                break
            lines[row - 1] = ""
        except (ValueError, RecursionError):
            return _say_beyond(lines, problems)
    if read is not None and depth(read) > DEEPEST:
        return _say_beyond(lines, problems)
    return read if lines == text.splitlines() else None


def _say_beyond(lines, problems):
    """Name what no settings need: a number of thousands of digits, brackets within brackets."""
    row, line = max(enumerate(lines, start=1), key=lambda numbered: len(numbered[1]))
    problems.add(
        NAME,
        "This file cannot be read: it holds a number of thousands of digits, or sections within sections without end.",
        "Look at its longest line, and compare the file with the template.",
        row=row,
        value=line.strip()[:60],
    )


def depth(value):
    """How many sections or lists stand within one another.

    Examples
    --------
    >>> depth({"site": {"names": [1, 2]}})
    3
    """
    deep, inside = 0, [value]
    while inside:
        deep += 1
        inside = [
            part
            for whole in inside
            for part in (whole.values() if isinstance(whole, dict) else whole)
            if isinstance(part, dict | list)
        ]
    return deep


def _say_line(line, row, error, problems):
    reason = re.sub(r"\s*\(at .*\)", "", error).rstrip(".")
    remedy = next((r for pattern, r in _REMEDIES if re.search(pattern, line)), None)
    if "overwrite" in reason or "twice" in reason:
        reason, remedy = "the same name or section stands here a second time", "Keep one of them."
    remedy = remedy or 'Compare the line with the template: text between "straight quotes", numbers with a point.'
    problems.add(NAME, f"This line cannot be read ({reason}).", remedy, row=row, value=line.strip())
