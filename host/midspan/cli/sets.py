"""`midspan sets`: the group of commands for matched sets."""

import typer

from midspan.cli.options import Commands
from midspan.cli.sets_choose import apart, make, show, stock
from midspan.cli.sets_join import extend, refill
from midspan.cli.sets_paper import card, labels
from midspan.cli.sets_shafts import different, same, size, spent, twins, vouch
from midspan.cli.sets_weigh import weigh

sets = typer.Typer(
    cls=Commands,
    help="Matched sets: choose them from the measured shafts, keep, refill and extend them.",
    epilog="Example: midspan sets make --number 12 --spine 3 --spread 2",
    no_args_is_help=True,
)

sets.command("make", epilog="Example: midspan sets make --number 12 --spine 3 --spread 2 --weight 5 --keep spring")(
    make
)
sets.command("stock", epilog="Example: midspan sets stock --batch 3")(stock)
sets.command("show", epilog="Example: midspan sets show 'spring 1'")(show)
sets.command("card", epilog="Example: midspan sets card 'spring 1'")(card)
sets.command("labels", epilog="Example: midspan sets labels --set 'spring 1' --out labels.pdf")(labels)
sets.command("refill", epilog="Example: midspan sets refill 'spring 1' --lost 17 --keep")(refill)
sets.command("extend", epilog="Example: midspan sets extend 'spring 1' --keep 'spring 1 b'")(extend)
sets.command("apart", epilog="Example: midspan sets apart 'spring 1'")(apart)
sets.command("weigh", epilog="Example: midspan sets weigh 12 312.4 --unit grains")(weigh)
sets.command("spent", epilog="Example: midspan sets spent 17 18 --why 'broke at the range'")(spent)
sets.command("twins", epilog="Example: midspan sets twins")(twins)
sets.command("same", epilog="Example: midspan sets same 12 48 --by Ann --why 'there is only one in the rack'")(same)
sets.command("different", epilog="Example: midspan sets different 12 48 --by Ann --why 'both lie before me'")(different)
sets.command("vouch", epilog="Example: midspan sets vouch 17 --by Ann --why 'looked along it under a lens: no crack'")(
    vouch
)
sets.command("size", epilog="Example: midspan sets size 12 13 --sizes sizes.toml")(size)
