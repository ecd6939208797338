"""`midspan sets`: the group of commands for matched sets."""

import typer

from midspan.cli.options import Commands
from midspan.cli.sets_choose import apart, make, show, stock
from midspan.cli.sets_join import extend, refill
from midspan.cli.sets_paper import card
from midspan.cli.sets_said import listed_sets, order, rename, ship, unship

sets = typer.Typer(
    cls=Commands,
    help="Matched sets: choose them from the measured shafts, keep, refill, extend and ship them.",
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
sets.command("rename", epilog="Example: midspan sets rename 'spring 1' 'Ann 2026'")(rename)
sets.command("order", epilog="Example: midspan sets order 'spring 1' --customer Ann --order 2026-14")(order)
sets.command("ship", epilog="Example: midspan sets ship 'spring 1' --on 2026-05-01 --customer Ann")(ship)
sets.command("unship", epilog="Example: midspan sets unship 'spring 1'")(unship)
sets.command("list", epilog="Example: midspan sets list Ann --shipped 2026")(listed_sets)
