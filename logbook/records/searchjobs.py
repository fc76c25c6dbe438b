"""The index of jobs by everything that is remembered of them: their own words, their order's, customer's and lots'.

A table of its own, whose rows are the jobs: a customer's name stands here once for each of their jobs, and would make
every other question of the search box slower. Its triggers write it with whatever row one of the words stands in.
"""

from collections.abc import Iterator

from logbook.records.dialects import Index, Trigger

TABLE = "search_together"

_OF_ORDER = (
    "SELECT of_job.number || ' ' || of_job.note || ' ' || coalesce(who.name, '') || ' ' || coalesce(who.contact, '') "
    "FROM order_ AS of_job LEFT JOIN customer AS who ON who.id = of_job.customer_id WHERE of_job.id = row.order_id"
)
_LABEL = "lot.label || ' ' || replace(replace(lot.label, '-', ''), ' ', '')"
_OF_LOTS = (
    "SELECT {labels} "
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


def filled(index: Index) -> str:
    """The statement that puts every job in."""
    words = index.lexemes(_WORDS.format(labels=index.joined(_LABEL)))
    return f"INSERT INTO {TABLE}(rowid, words) SELECT row.id, {words} FROM job AS row"  # noqa: S608 - fixed names


def again(jobs: str, index: Index) -> list[str]:
    """Statements that put some jobs in anew; ``jobs`` is a condition on ``row``."""
    gone = f"DELETE FROM {TABLE} WHERE rowid IN (SELECT row.id FROM job AS row WHERE {jobs})"  # noqa: S608 - fixed names
    return [gone, f"{filled(index)} WHERE {jobs}"]


def triggers(index: Index) -> Iterator[Trigger]:
    """All that write it."""
    for name, (event, jobs) in _CHANGES.items():
        yield Trigger(f"{TABLE}_{name}", f"AFTER {event}", again(jobs, index))
    gone = f"DELETE FROM {TABLE} WHERE rowid = OLD.id"  # noqa: S608 - a fixed name
    yield Trigger(f"{TABLE}_gone", "AFTER DELETE ON job", [gone])
