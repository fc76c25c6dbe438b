"""Which part of its sheet a print is: what the sheet cost is divided so."""

from collections import defaultdict
from collections.abc import Collection
from decimal import Decimal
from fractions import Fraction

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from logbook.records.floor import Print
from logbook.records.orders import Job


def parts(session: Session, prints: Collection[int]) -> dict[int, Fraction]:
    """The part of each of these prints, by its finished area where several jobs share the sheet, else an equal one."""
    sheet_of = dict(session.execute(select(Print.id, Print.sheet_id).where(Print.id.in_(prints))).all())
    counted = (
        select(Print.sheet_id, func.count(Print.id), func.count(Print.job_id.distinct()))
        .where(Print.sheet_id.in_(set(sheet_of.values())))
        .group_by(Print.sheet_id)
    )
    rows = session.execute(counted).all()
    on_sheet = {sheet: pieces for sheet, pieces, _ in rows}
    by_area = _by_area(session, [sheet for sheet, _, jobs in rows if jobs > 1])
    return {one: by_area.get(one) or Fraction(1, on_sheet[sheet]) for one, sheet in sheet_of.items()}


def _by_area(session: Session, sheets: Collection[int]) -> dict[int, Fraction]:
    if not sheets:
        return {}
    sized = select(Print.id, Print.sheet_id, Job.width, Job.height).join(Job, Print.job_id == Job.id)
    areas = {
        one: (sheet, Fraction(width.mm) * Fraction(height.mm))
        for one, sheet, width, height in session.execute(sized.where(Print.sheet_id.in_(sheets)))
    }
    whole: dict[int, Fraction] = defaultdict(Fraction)
    for sheet, area in areas.values():
        whole[sheet] += area
    return {one: area / whole[sheet] for one, (sheet, area) in areas.items()}


def of(amount: Decimal, part: Fraction) -> Decimal:
    """That part of an amount of money, not rounded."""
    return amount * part.numerator / part.denominator
