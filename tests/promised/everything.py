"""Every row of the table, gathered."""

from collections.abc import Sequence

from promised import copies, doors, files, graves, guards, racing, shopfloor, speed, trail, weight
from promised.rows import TABLE, Row

MODULES = (graves, racing, copies, trail, shopfloor, files, doors, weight, speed, guards)
"""Where rows are written down."""
ORDER = "RASLQ"


def rows(ids: Sequence[str] = ()) -> list[Row]:
    """All rows in the order of their names, or those that are asked for by name or first letter."""
    assert MODULES
    found = sorted(TABLE.rows.values(), key=lambda row: (ORDER.index(row.id[0]), int(row.id[1:])))
    return [row for row in found if not ids or row.id in ids or row.id[0] in ids]
