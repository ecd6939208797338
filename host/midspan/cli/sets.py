"""`midspan sets`: the group of commands for matched sets."""

import typer

from midspan.cli.options import Commands
from midspan.cli.sets_choose import apart, make, show, stock
from midspan.cli.sets_join import extend, refill
from midspan.cli.sets_paper import card

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
sets.command("refill", epilog="Example: midspan sets refill 'spring 1' --lost 17 --keep")(refill)
sets.command("extend", epilog="Example: midspan sets extend 'spring 1' --keep 'spring 1 b'")(extend)
sets.command("apart", epilog="Example: midspan sets apart 'spring 1'")(apart)
