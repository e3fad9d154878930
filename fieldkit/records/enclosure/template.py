"""A new enclosure folder, ready to fill: settings, tables, a workbook with drop-downs, sheets to print, notebooks."""

import html

from fieldkit.core import resource_dir
from fieldkit.records import schema as schemas
from fieldkit.records.enclosure.scans import OUT_OF_SIGHT
from fieldkit.records.enclosure.settings import NAME, SETTINGS
from fieldkit.records.enclosure.tables import TABLES, WORKBOOK
from fieldkit.records.season import printed, template

NOTEBOOKS = ("10_match_lamps.ipynb", "11_audit_enclosure.ipynb", "16_compare_field_and_captivity.ipynb")
CAUTIONS = (
    "Burns and fire: every lamp guarded, fixed with a second holder, clear of what burns, out of reach.",
    "Mains and water: unplug before you reach in; residual-current device, drip loops; fixed wiring is an "
    "electrician's work.",
    "UV hurts eyes and skin: shield the lamp, wear UV glasses, never look in. No laser at eyes or animals.",
    "A surface that is too hot, or a lamp in reach: switch it off or bar the way at once, small steps only on the way "
    "back.",
    "Change an occupied enclosure little by little, never in big steps, and watch the animals.",
    "A sick animal goes to a vet who treats reptiles. Local law and licences come first.",
)
# Names, zones and examples of the points a new folder begins with; the numbers show the form only.
POINTS = {
    "basking": ("basking site", (0.25, 0.30, 0.10), "slate"),
    "warm": ("warm end", (0.45, 0.45, 0.05), "sand"),
    "cool": ("cool end", (1.00, 0.30, 0.05), "soil"),
    "retreat": ("retreat", (1.10, 0.15, 0.02), "bark"),
}
_EXAMPLES = {
    "enclosure.name": "Shelf by the window",
    "enclosure.public_name": "Shelf of the club",
    "enclosure.length_m": 1.2,
    "enclosure.width_m": 0.6,
    "enclosure.height_m": 0.6,
    "enclosure.walls": "wood",
    "enclosure.top": "mesh",
    "enclosure.wall_thickness_m": 0.015,
    "enclosure.vent_area_m2": 0.02,
    "enclosure.vent_height_m": 0.3,
    "enclosure.elevation_m": 270,
    "enclosure.room_temperature_c": "{ day = 21.0, night = 18.0 }",
    "enclosure.timezone": "America/New_York",
    "animal.species": "ridge lizard",
    "animal.length_m": 0.07,
    "animal.mass_g": 12,
    "animal.shortwave_absorptivity": 0.85,
    "lamps.id": "basking-lamp",
    "lamps.kind": "heat",
    "lamps.power_w": 100,
    "lamps.spectrum": "blackbody 2800 K, glass 330 nm",
    "lamps.x_m": 0.25,
    "lamps.y_m": 0.30,
    "lamps.height_m": 0.50,
    "lamps.aim": "down",
    "lamps.on": "08:00",
    "lamps.off": "20:00",
    "lamps.guarded": "true",
    "lamps.fixed": "true",
    "lamps.distance_to_nearest_reach_m": 0.30,
    "lamps.controlled_by": "control",
    "lamps.set_point_c": 30.0,
}
# Not needed by the reader, and worth asking of every keeper.
_ASKED = (
    *("animal.length_m", "animal.mass_g", "lamps.on", "lamps.off", "lamps.guarded", "lamps.fixed"),
    "lamps.distance_to_nearest_reach_m",
)
_ERRORS = {
    "shade_air_c": ("a digital thermometer, its probe shaded from the lamps", 0.5),
    "surface_c": ("a thermometer gun (infrared), emissivity set to 0.95", 2.0),
    "irradiance_w_m2": ("a meter for W/m² (not lux)", 30.0),
    "uv_index": ("a UV index meter", 0.5),
}


def new_folder(path, *, targets):
    """Make an enclosure folder that is ready to fill.

    Parameters
    ----------
    path : str or pathlib.Path
        Must not be there yet, or be an empty folder.
    targets : str
        Text of targets.toml: what the enclosure is held against.

    Returns
    -------
    pathlib.Path
        The folder, with enclosure.toml, targets.toml, one CSV a table, enclosure.xlsx, sheets for A4 and Letter,
        README.txt, data_dictionary.html and the notebooks on lamps and audit.

    Raises
    ------
    FieldkitError
        When something is there already: nothing is overwritten.

    Examples
    --------
    >>> import tempfile
    >>> made = new_folder(tempfile.mkdtemp() + "/mine", targets="")
    >>> sorted(p.name for p in made.iterdir() if p.suffix in (".toml", ".csv"))
    ['care.csv', 'enclosure.toml', 'hand_readings.csv', ..., 'scans.csv', 'targets.toml']
    """

    def fill(folder):
        (folder / NAME).write_text(settings_template(), encoding="utf-8")
        (folder / "targets.toml").write_text(targets, encoding="utf-8")
        for table, schema in TABLES.items():
            head = ",".join(printed.template_headers(schema.name)) + "\r\n"
            (folder / f"{table}.csv").write_text(head, encoding="utf-8-sig", newline="")
        lists = {"point": tuple(POINTS), "lamp": (_EXAMPLES["lamps.id"],)}
        lists["enclosure_scans.point"] = (*POINTS, OUT_OF_SIGHT)
        template.workbook(folder / WORKBOOK, TABLES, readme(), lists=lists)
        for paper in ("A4", "Letter"):
            (folder / f"sheet_{paper}.html").write_text(sheet(paper=paper), encoding="utf-8")
        (folder / "README.txt").write_text(readme(), encoding="utf-8")
        title = "What every setting and column means"
        words = schemas.data_dictionary_html(tables=TABLES, settings=SETTINGS, file=NAME)
        page = printed.page_to_read(title, f"<h1>{title}</h1>\n{words}")
        (folder / "data_dictionary.html").write_text(page, encoding="utf-8")
        template.copy_notebooks(resource_dir("notebooks"), folder / "notebooks", only=NOTEBOOKS)

    return template.make_folder(path, fill)


SCAN_HOURS = ("8:00", "9:30", "11:00", "12:30", "14:00", "15:30", "17:00", "18:30")


def scans_of_a_week(title):
    """One page for a week of scans: a cell a time and day, for two animals."""
    head = "".join(f"<th>{day}</th>" for day in ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"))
    rows = "".join(f"<tr><td>at {hour}</td>{'<td></td>' * 7}</tr>" for hour in SCAN_HOURS)
    return (
        f"<section><h1>{html.escape(title)}: a week of scans</h1>"
        '<p class="blanks"><span>Animals 1 and 2:</span><span>Week from:</span><span>Watched by:</span></p>'
        "<p>Look at fixed times, or at as many of these as you can keep, for a moment and from where they do not mind "
        "you. In each cell, animal by animal: the point nearest to it and what it does (b basking, m moving, r resting,"
        " f feeding, h hidden). Out of sight is a result too. Then type them into the sheet scans, one row an animal "
        "and time. Two people may watch together, without speaking, and write a row each.</p>"
        f"<table><thead><tr><th>time</th>{head}</tr></thead><tbody>{rows}</tbody></table>"
        "<p>Watch only: do not wake, chase or handle an animal for a table. One that stops basking, hides all day or "
        "stops feeding goes to a vet who treats reptiles.</p></section>"
    )


def settings_template():
    """Text of an enclosure.toml to be filled in, made from the declared settings.

    Examples
    --------
    >>> settings_template().count("[points.")
    4
    """
    roles = _setting("loggers.NAME", "role").allowed
    lines = [
        "# Your enclosure: its size, its animal, its lamps, the places where you measure.",
        '# Replace every "FILL IN". Text and clock times stand between straight quotation marks; numbers, true and',
        "# false stand without. Write 0.3, not 0,3.",
        "# Lengths are METRES (30 cm = 0.30; 12 inches = 0.305). Temperatures in this file are °C.",
        "# A line that begins with # is not read: take the # away to use it.",
        *_section("enclosure"),
        *_section("animal"),
        "",
        "# One [[lamps]] block for each lamp or heater: copy the block for the next one, delete it if you have none.",
        '# kind: "heat" (halogen, incandescent), "visible" (LED, plain tube), "uv" (UV tube), "heat and uv" (one bulb',
        '# for both), "dark heater" (ceramic or radiant panel), "heat mat".',
        "# Places: x_m from the left wall, y_m from the front, height above the floor, all to the middle of its front.",
        "# Do you know only what the box says? Then write the watts and leave spectrum out: the glass of a lamp makes",
        "# its UV, so a hot filament without its glass tells nothing of it.",
        *_section("lamps", header="[[lamps]]"),
        "",
        "# The places where you measure. Delete those you do not have (but an animal needs a retreat), add your own.",
        "# x_m from the left wall, y_m from the front, z_m above the floor: where the animal's back would be.",
    ]
    for name, (zone, place, substrate) in POINTS.items():
        lines += ["", f"[points.{name}]"]
        for key, value in zip(("x_m", "y_m", "z_m"), place):
            lines.append(f'{key} = "FILL IN" # {_meaning("points.NAME", key)}, m, such as {value:g}')
        lines.append(f'zone = "{zone}" # {", ".join(_setting("points.NAME", "zone").allowed)}')
        lies = _meaning("points.NAME", "substrate")
        ask = zone == "basking site"
        lines.append(f'substrate = "FILL IN" # {lies}' if ask else f'# substrate = "{substrate}" # {lies}')
        shade = "false" if zone == "basking site" else "true"
        lines.append(f"# shade = {shade} # {_meaning('points.NAME', 'shade')}")
    lines += [
        "",
        "# What you read by hand with (the table hand_readings). error is the standard deviation of a reading, in °C",
        "# or W/m² whatever unit you read: the ± of the data sheet divided by 1.7, or read one thing ten times (JCGM",
        "# 100:2008, 4.3.7). The numbers here are examples (common practice, no source): put in your own.",
    ]
    for column, (what, error) in _ERRORS.items():
        lines += ["", f"# [instruments.{column}]", f'# what = "{what}"', f"# error = {error}", '# how = "data sheet"']
    lines += [
        "",
        "# One section for each logger or probe that records by itself (the table readings), if you have any.",
        f"# role is one of {', '.join(roles[:6])},",
        f"# {', '.join(roles[6:])}.",
        "# column is the header of its column in the file your logger exports; leave it out if that file has the",
        "# columns time, logger_id, value.",
        "# [loggers.air-cool]",
        '# point = "cool"',
        '# role = "shade_air"',
        '# unit = "degF" # or "degC"',
        '# column = "Probe 2 (°F)"',
        "# error = 0.9 # in its unit",
        '# timezone = "UTC-05:00" # only if its clock is never set to summer time',
        "",
        "# The sensor of a thermostat, whether it records or not; name it under its lamp as controlled_by.",
        "# [loggers.control]",
        '# point = "warm"',
        '# role = "thermostat"',
        '# unit = "degC"',
        "# size_m = 0.005",
        "# shortwave_absorptivity = 0.7",
        "",
        "# A thermometer in the room, outside the enclosure.",
        "# [loggers.room]",
        '# role = "room_air"',
        '# unit = "degC"',
        "",
        "# Only if your files need it:",
        "# [dates]",
        '# order = "mdy" # or "dmy": what 03/04/2026 means in your files',
        "# [numbers]",
        '# decimal = "," # or ".": what 1,234 means in your CSV files',
        "",
    ]
    return "\n".join(lines)


def _setting(section, key):
    return next(s for s in SETTINGS if (s.section, s.key) == (section, key))


def _meaning(section, key):
    return _setting(section, key).meaning


def _section(name, header=None):
    lines = ["", header or f"[{name}]"]
    for setting in SETTINGS:
        if setting.section != name or f"{name}.{setting.key}" not in _EXAMPLES:
            continue
        label = f"{name}.{setting.key}"
        example = _EXAMPLES[label]
        if setting.kind in ("text", "zone", "clock", "aim"):
            example = f'"{example}"'
        remark = setting.meaning
        if setting.allowed and name != "lamps":
            remark += f": {', '.join(setting.allowed)}"
        if setting.unit:
            remark += f", {setting.unit}"
        if setting.required or label in _ASKED:
            remark += "" if "such as" in remark else f", such as {example}"
            lines.append(f'{setting.key} = "FILL IN" # {remark}')
        else:
            lines.append(f"# {setting.key} = {example} # {remark}")
    return lines


def readme():
    """Text that tells how to fill the folder."""
    tables = "\n".join(f"   {name:<14} one row is {schema.description}" for name, schema in TABLES.items())
    cautions = "\n".join(f"  - {c}" for c in CAUTIONS)
    return f"""How to fill this folder

1. Print sheet_A4.html (or sheet_Letter.html) from your browser and take it to the enclosure with a tape measure.
   Write down its size, where each lamp hangs, and where you measure.
2. Open enclosure.toml in a plain text editor and replace every "FILL IN". Delete the blocks you do not need.
3. Type your readings into enclosure.xlsx, or into the CSV files: whichever you like, but each table in one place only.
   You need not have all of them. Leave empty what you do not have.
{tables}
   Has your logger an app that exports a file? Save it here as readings.csv (in place of the empty one), or put several
   exports into a folder named readings. A file with one column for each probe will do: say in enclosure.toml, under
   [loggers.NAME], the header of its column.
4. What should it be held against? targets.toml holds limits and room for your own numbers with their source. If
   you have a season of field records, it gives the targets: add --season MY_SEASON to the next line.
5. Audit:                     fieldkit audit THIS_FOLDER
   With a card to print:      fieldkit audit THIS_FOLDER --card card.html
   It first tells what has to be mended in the files, then what to change, what could not be told, and what to measure
   next. After a change, read again, add the rows, and audit again.

6. Do your animals live here as wild ones do? Look at them at fixed times, a week or more (the last page of the sheet),
   type it into the sheet scans (point: the nearest of your points, or out of sight), and set it beside a season:
                              fieldkit compare MY_SEASON THIS_FOLDER
   Photographs count too: a file scans.csv with the columns file and point, where the name of a file tells its time
   (IMG_20260514_1020.jpg). Then try one change fairly: fieldkit trial plan THIS_FOLDER --change "..."

The least that tells something: a thermometer and three days. Lamps on for two hours, then read the surface at the
basking point and the shaded air at the warm end, the cool end and in the retreat; once more at night before the lamps
go on. Note time and point of every reading.

- Write times as 2026-05-14 10:20. Leave a cell empty when there was no reading; never write 0 or -999 for it.
- Units stand in the headers. If you read °F, change the header to [degF]; if you measure in inches, to [in]; the
  numbers stay as you read them.
- Columns of your own are welcome and are kept.
- What each setting and column means: data_dictionary.html. Notebooks on lamps and audit: the folder notebooks.

Cautions
{cautions}
"""


def sheet(*, paper="A4", title="Enclosure sheet"):
    """Printable sheets for the enclosure: plan and places, readings by hand, readings before each lamp.

    Parameters
    ----------
    paper : {"A4", "Letter"}
        Size of the paper, printed across.
    title : str
        Heading, such as the name of the enclosure.

    Returns
    -------
    str
        One self-contained HTML page to print from a browser.

    Raises
    ------
    FieldkitError
        For another paper.

    Examples
    --------
    >>> sheet(paper="Letter").count("<section>")
    4
    """
    blanks = "".join(f"<span>{name}:</span>" for name in ("Enclosure", "Date", "Room °C day / night", "Read by"))
    head = f'<p class="blanks">{blanks}</p>'
    care = f"<h2>Take care</h2><ol>{''.join(f'<li>{html.escape(c)}</li>' for c in CAUTIONS)}</ol>"
    lamp = [
        "lamp",
        "kind",
        "watts",
        "x [m]",
        "y [m]",
        "height [m]",
        "on",
        "off",
        "guarded?",
        "fixed twice?",
        "reach [m]",
    ]
    place = ["point", "zone", "x [m]", "y [m]", "z [m]", "what lies there", "in shade?", "probe or logger there"]
    rows = [f"<tr><td>{name}</td><td>{zone}</td>{'<td></td>' * 6}</tr>" for name, (zone, _, _) in POINTS.items()] + [
        "<tr>" + "<td></td>" * len(place) + "</tr>"
    ]
    plan = (
        f"<section><h1>{html.escape(title)}: plan and places</h1>{head}"
        "<p>Inner length, width (front to back) and height in metres: ______ × ______ × ______. Draw the floor from "
        "above and mark lamps and points. x runs from the left wall, y from the front, z from the floor; a lamp's "
        "place is the middle of its front. Reach: from the lamp to the nearest spot the animal can climb to.</p>"
        '<div class="plan"><i>back</i><b>front</b></div>'
        f"{printed.table_to_fill(lamp, ['<tr>' + '<td></td>' * len(lamp) + '</tr>'] * 4)}"
        f"{printed.table_to_fill(place, rows)}{care}</section>"
    )
    blank = printed.template_headers("hand_readings")
    hand = (
        f"<section><h1>{html.escape(title)}: readings by hand</h1>{head}"
        "<p>Lamps on for two hours first; once more at night, before they go on; three days or more. Surface: aim the "
        "gun from close by, straight down, emissivity 0.95 (not on shiny metal or glass), or press a probe on. Shaded "
        "air: the probe hangs free, out of the beam and off warm surfaces; wait until it stands still. Leave a cell "
        "empty if it was not read. The unit is the one in the header: strike it out if you read another.</p>"
        f"{printed.table_to_fill(blank, ['<tr>' + '<td></td>' * len(blank) + '</tr>'] * 12)}{care}</section>"
    )
    blank = printed.template_headers("lamp_readings")
    beam = (
        f"<section><h1>{html.escape(title)}: readings before each lamp</h1>{head}"
        "<p>Only if you have a meter for W/m² or the UV index; a lux meter measures neither. Animal out, one lamp on "
        "at a time, for half an hour. The meter faces the lamp. Read at three distances straight in front, and at one "
        "distance off to the side at two angles or more (a protractor will do): that gives width and strength of the "
        "beam.</p>"
        f"{printed.table_to_fill(blank, ['<tr>' + '<td></td>' * len(blank) + '</tr>'] * 12)}{care}</section>"
    )
    style = (
        "<style>.plan{position:relative;height:52mm;border:.4mm solid #000;margin:1mm 0;background-size:5mm 5mm;"
        "background-image:linear-gradient(#ddd .2mm,transparent .2mm),"
        "linear-gradient(90deg,#ddd .2mm,transparent .2mm);"
        "print-color-adjust:exact;-webkit-print-color-adjust:exact}.plan i,.plan b{position:absolute;left:2mm;"
        "font:9pt sans-serif;background:#fff}.plan i{top:1mm}.plan b{bottom:1mm}</style>"
    )
    return printed.page_to_print(
        f"{title} ({paper})", style + plan + hand + beam + scans_of_a_week(title), paper=paper, row="7.5mm"
    )
