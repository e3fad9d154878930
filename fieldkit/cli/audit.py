"""Hold an enclosure against its targets."""

import os

from fieldkit.core import FieldkitError

HELP = "hold an enclosure's readings against targets: what to change, in order of importance"


def declare(sub):
    """Declare what the command takes."""
    sub.epilog = (
        "Exit status: 0 no limit was found exceeded and no danger was found in what was measured and stated (which "
        "does not mean that nothing is wrong), 1 a fault of fieldkit, 2 a mistake that you can mend, 3 a limit is "
        "exceeded or a danger was found."
    )
    sub.add_argument("folder", help="folder with enclosure.toml; fieldkit new FOLDER --enclosure makes one")
    sub.add_argument("--targets", metavar="FILE", help="targets file, .toml or .json; by default the folder's own")
    sub.add_argument("--season", metavar="DIR", help="take the targets from this season folder instead (half a minute)")
    sub.add_argument("--save-targets", metavar="FILE", help="save the targets, .toml or .json; nothing is overwritten")
    sub.add_argument(
        "--margin", type=float, default=5.0, metavar="C", help="with --season: margin of the caution about warm air, °C"
    )
    sub.add_argument("--uv", metavar="WORDS", help="with --season: how the species basks, such as 'occasional sun'")
    sub.add_argument("--invented", action="store_true", help="needed for invented targets of a real enclosure")
    sub.add_argument("--card", metavar="FILE", help="write a setup card, .html (and .pdf where WeasyPrint is there)")


def run(arguments):
    """Hold an enclosure against its targets."""
    from fieldkit.captive import audit as room
    from fieldkit.captive import targets
    from fieldkit.records.enclosure.reader import read_enclosure
    from fieldkit.records.problems import as_text
    from fieldkit.report.keeper import advice as audit_text
    from fieldkit.report.keeper import card
    from fieldkit.report.privacy import at_home, enclosures, gate

    if arguments.targets is not None and arguments.season is not None:
        raise FieldkitError("Give --targets FILE or --season DIR, not both.")
    enclosure = read_enclosure(arguments.folder)
    # The keeper's own names for the enclosure, its points and lamps stand on the card: it hangs beside them.
    kept = enclosures.secrets(enclosure, own_names=True)
    if arguments.season is not None:
        from fieldkit.field.plausibility import read_season
        from fieldkit.report.privacy import public

        # Targets and cards go from hand to hand: they are made from the season as others may have it.
        private = read_season(arguments.season)
        of_season = at_home.without(at_home.of_season(private), enclosures.own_text(enclosure))
        kept = at_home.together(kept, of_season)
        with public.opened(private) as (_, season):
            aims = targets.from_season(season, margin_c=arguments.margin, uv=arguments.uv)
    else:
        own = os.path.join(arguments.folder, "targets.toml")
        if arguments.targets is None and not os.path.isfile(own):
            raise FieldkitError(
                f"{arguments.folder} has no targets.toml: give --season DIR, a folder of field records from which the "
                "targets are taken, or --targets FILE."
            )
        aims = targets.load(arguments.targets or own)
    coverage, light = room.light_of(enclosure, aims)
    found = room.audit(enclosure, aims, coverage=coverage, light=light, allow_invented=arguments.invented)
    text = audit_text.text(found)
    gate.check_text(text, kept, what="the audit")
    print(text)
    if len(enclosure.warnings):
        print(f"\nIn the files: {as_text(enclosure.warnings, arguments.folder)}")
    if arguments.save_targets is not None:
        with gate.held(arguments.save_targets, kept, what="the file of targets"):
            saved = aims.save(arguments.save_targets)
        print(f"\nTargets saved: {saved}")
    if arguments.card is not None:
        paper = os.path.splitext(arguments.card)[0] + ".pdf"
        with gate.held(arguments.card, kept, paper, what="the card"):
            made = card.write(aims, arguments.card, enclosure=enclosure, found=found, allow_invented=arguments.invented)
        print(f"\n{made.sentence}")
    return found.exit_status
