"""The job traveller: one per job, a column for each sheet, read standing up with inky hands."""

from logbook.paper.render import Address, asset_address, render
from logbook.paper.rows import blocks
from logbook.paper.views import NOT_CHOSEN, WITHDRAWN, Imprint, Thumbnail, Traveller

SEVERAL = "several"
"""The origin of a job's pitch where its sheets do not share one."""


def traveller_html(view: Traveller, *, page: str = "A4", address: Address = asset_address) -> str:
    """The traveller as HTML for A4 or Letter; the PDF writer and the browser show the same text.

    ``address`` turns asset names (pictures, stylesheets, signs) into links.
    """
    return render(
        "traveller.html", title=f"Traveller {view.job}", page=page, address=address, view=view,
        blocks=blocks(view), banners=_banners(view), flip_words=flip_words(view.flip, view.pictures),
        laminator=view.machine("laminator"),
        head=_head(view), large=_large(view), small=_small(view), file_words=_file_words(view),
        imprint=imprint_line(view.imprint, f"step list {view.steps.revision}"),
    )


def imprint_line(imprint: Imprint, *more: str) -> str:
    """Revision, who printed it when, and the head of the audit trail, in one line."""
    parts = [f"Revision {imprint.revision}" if imprint.revision else "", *more,
             f"printed {imprint.printed_at}" + (f" by {imprint.printed_by}" if imprint.printed_by else ""),
             f"audit head {imprint.audit_head}" if imprint.audit_head else ""]
    return " · ".join(part for part in parts if part)


def flip_words(flip: str, pictures: tuple[Thumbnail, ...]) -> str:
    """Which picture an eye sees from which side: a lens reverses, so picture 1 shows from the left or from above."""
    last = pictures[-1].number if pictures else "last"
    first, other = ("the left", "the right") if flip == "left-right" else ("above", "below")
    return f"Seen from {first}: picture 1. Seen from {other}: picture {last}."


def _banners(view: Traveller) -> tuple[str, ...]:
    own = {sheet.pitch.origin for sheet in view.sheets if sheet.pitch} or {view.pitch.origin}
    untested = " and ".join(sorted(own - {"test", NOT_CHOSEN, WITHDRAWN}))
    told = [*view.banners]
    if NOT_CHOSEN in own:
        told.append("No pitch is chosen: nothing may be interlaced or printed from this paper")
    if WITHDRAWN in own:
        told.append("Pitch withdrawn: print nothing more at it")
    if view.pitch.origin == SEVERAL:
        told.append("Several runs: pitch and file stand at each sheet")
    if untested:
        told.append(f"Pitch {untested} – not tested")
    return tuple(told)


def _head(view: Traveller) -> tuple[tuple[str, str], ...]:
    return (("Order", view.order), ("For", view.customer), ("Due", view.due), ("Quantity", view.quantity))


def _large(view: Traveller) -> tuple[tuple[str, str], ...]:
    numbers = view.numbers
    return (("Finished size", numbers.finished_size), ("Printed size", numbers.printed_size),
            ("Dots per inch", numbers.dots_per_inch), ("Bleed", numbers.bleed),
            ("Viewing distance", numbers.viewing_distance), ("Flip", view.flip.replace("-", "–")))


def _small(view: Traveller) -> tuple[tuple[str, str], ...]:
    numbers = view.numbers
    return (("Lens lot", numbers.lens_lot), ("Paper", numbers.paper), ("Adhesive", numbers.adhesive),
            ("Printer", numbers.printer), ("Printer mode", numbers.mode))


def _file_words(view: Traveller) -> str:
    numbers = view.numbers
    parts = (numbers.file_name, numbers.file_hash, numbers.file_size)
    return " · ".join(dict.fromkeys(part for part in parts if part))
