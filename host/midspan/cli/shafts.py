"""`midspan shafts`: the group of commands for single shafts."""

import typer

from midspan.cli.options import Commands
from midspan.cli.shafts_find import find, show
from midspan.cli.shafts_import import import_
from midspan.cli.shafts_labels import labels
from midspan.cli.shafts_said import different, join, size, spent, twins, vouch
from midspan.cli.shafts_tell import label, note, tell, unvoid, void
from midspan.cli.shafts_weigh import weigh
from midspan.cli.shafts_which import which

shafts = typer.Typer(
    cls=Commands,
    help="Single shafts: find and show them, void a measurement, label, weigh, and say which numbers are one shaft.",
    epilog="Example: midspan shafts find blue",
    no_args_is_help=True,
)

shafts.command("find", epilog="Example: midspan shafts find blue --low 495 --high 505")(find)
shafts.command("show", epilog="Example: midspan shafts show 12")(show)
shafts.command("void", epilog="Example: midspan shafts void 12 --why 'the wrong shaft lay in the gauge' --by Ann")(void)
shafts.command("unvoid", epilog="Example: midspan shafts unvoid 12 --why 'it was the right one' --by Ann")(unvoid)
shafts.command("label", epilog="Example: midspan shafts label 12 red-4")(label)
shafts.command("note", epilog="Example: midspan shafts note 12 'scratch near the nock' --by Ann")(note)
shafts.command("tell", epilog="Example: midspan shafts tell 12 13 --customer 'archery club' --order 14")(tell)
shafts.command(
    "import",
    epilog="Example: midspan shafts import old.csv --column number=No --column spine=Spine --unit thou --u 2.0",
)(import_)
shafts.command("labels", epilog="Example: midspan shafts labels --set 'spring 1' --shape flag --tube 6.5")(labels)
shafts.command("weigh", epilog="Example: midspan shafts weigh 12 312.4")(weigh)
shafts.command("spent", epilog="Example: midspan shafts spent 17 18 --why 'broke at the range'")(spent)
shafts.command("which", epilog="Example: midspan shafts which 57 --used")(which)
shafts.command("twins", epilog="Example: midspan shafts twins")(twins)
shafts.command("join", epilog="Example: midspan shafts join 12 48 --by Ann --why 'there is only one in the rack'")(join)
shafts.command("different", epilog="Example: midspan shafts different 12 48 --by Ann --why 'both lie before me'")(
    different
)
shafts.command(
    "vouch", epilog="Example: midspan shafts vouch 17 --by Ann --why 'looked along it under a lens: no crack'"
)(vouch)
shafts.command("size", epilog="Example: midspan shafts size 12 13 --sizes sizes.toml")(size)
