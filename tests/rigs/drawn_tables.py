"""Tables in the notes that are drawn from code: between `<!-- drawn: NAME -->` and `<!-- end -->`."""

import re

MARKED = re.compile(r"(<!-- drawn: (?P<name>[a-z0-9 ]+) -->\n).*?(<!-- end -->)", re.DOTALL)


def names(text):
    """Return the names of the drawn tables of a page."""
    return [found["name"] for found in MARKED.finditer(text)]


def drawn_anew(text, tables):
    """Return a page with its tables drawn anew; `tables` has a function for each name that yields their rows."""

    def table(found):
        return found[1] + "".join(f"| {' | '.join(row)} |\n" for row in tables[found["name"]]()) + found[3]

    return MARKED.sub(table, text)


def heading(first, *others, left=1):
    """Return the head of a table and the line below it: the first columns to the left, the others to the right."""
    columns = (first, *others)
    return columns, tuple("---" if i < left else "---:" for i in range(len(columns)))
