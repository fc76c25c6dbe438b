"""The index of jobs by everything that is remembered of them: their own words, their order's, customer's and lots'.

A table of its own, whose rows are the jobs: a customer's name stands here once for each of their jobs, and would make
every other question of the search box slower. Its triggers write it with whatever row one of the words stands in.
"""

from collections.abc import Callable, Iterator

TABLE = "search_together"
COLUMNS = "words, tokenize = 'unicode61 remove_diacritics 2', prefix = '2 3'"

_OF_ORDER = (
    "SELECT of_job.number || ' ' || of_job.note || ' ' || coalesce(who.name, '') || ' ' || coalesce(who.contact, '') "
    "FROM order_ AS of_job LEFT JOIN customer AS who ON who.id = of_job.customer_id WHERE of_job.id = row.order_id"
)
_OF_LOTS = (
    "SELECT group_concat(lot.label || ' ' || replace(replace(lot.label, '-', ''), ' ', ''), ' ') "
    "FROM job_materials AS made JOIN lot ON lot.id IN (made.lens_lot_id, made.paper_lot_id, made.adhesive_lot_id) "
    "WHERE made.job_id = row.id"
)
_WORDS = f"row.number || ' ' || row.artwork || ' ' || coalesce(({_OF_ORDER}), '') || ' ' || coalesce(({_OF_LOTS}), '')"
OF_CUSTOMER = "row.order_id IN (SELECT id FROM order_ WHERE customer_id = NEW.id)"
"""Which jobs a change of a customer touches."""
_CHANGES = {
    "new_job": ("INSERT ON job", "row.id = NEW.id"),
    "job": ("UPDATE OF number, artwork, order_id ON job", "row.id = NEW.id"),
    "order": ("UPDATE OF number, note, customer_id ON order_", "row.order_id = NEW.id"),
    "customer": ("UPDATE OF name, contact ON customer", OF_CUSTOMER),
    "materials": ("INSERT ON job_materials", "row.id = NEW.job_id"),
    "lot": (
        "UPDATE OF label ON lot",
        "row.id IN (SELECT job_id FROM job_materials WHERE NEW.id IN (lens_lot_id, paper_lot_id, adhesive_lot_id))",
    ),
}
OPTIMIZE = f"INSERT INTO {TABLE}({TABLE}) VALUES ('optimize')"  # noqa: S608 - a fixed name


def filled(plain: Callable[[str], str]) -> str:
    """The statement that puts every job in; ``plain`` writes letters as the index holds them."""
    return f"INSERT INTO {TABLE}(rowid, words) SELECT row.id, {plain(_WORDS)} FROM job AS row"  # noqa: S608 - fixed names


def again(jobs: str, plain: Callable[[str], str]) -> list[str]:
    """Statements that put some jobs in anew; ``jobs`` is a condition on ``row``."""
    gone = f"DELETE FROM {TABLE} WHERE rowid IN (SELECT row.id FROM job AS row WHERE {jobs})"  # noqa: S608 - fixed names
    return [gone, f"{filled(plain)} WHERE {jobs}"]


def triggers(plain: Callable[[str], str]) -> Iterator[tuple[str, str, list[str]]]:
    """Name, event and statements of every trigger."""
    for name, (event, jobs) in _CHANGES.items():
        yield f"{TABLE}_{name}", f"AFTER {event}", again(jobs, plain)
    yield f"{TABLE}_gone", "AFTER DELETE ON job", [f"DELETE FROM {TABLE} WHERE rowid = OLD.id"]  # noqa: S608 - a fixed name
