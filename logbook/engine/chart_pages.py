"""Charts laid on sheets and rolls: margins honoured, more pages where the bands need them."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from logbook.engine.chart import (
    DEFAULT_BAND_HEIGHT,
    DEFAULT_GAP,
    LEFT_RIGHT,
    ChartPlan,
    band_pitches,
    chart_of_pitches,
)
from logbook.engine.paper_sizes import Paper, millimetres
from logbook.engine.resolution import Resolution, text
from logbook.lengths import Length
from logbook.refusals import Refused

_TRIAL_LENGTH = Length(Decimal("101.60"), "mm")
_SLACK_IN, _SHORTEST_IN = Fraction(1, 10), Fraction(1)


@dataclass(frozen=True, slots=True)
class ChartPage:
    """One page: the chart on it, the page's size and the place of the chart's upper left corner, all in inches."""

    plan: ChartPlan
    width_in: Fraction
    height_in: Fraction
    left_in: Fraction
    top_in: Fraction


def charts_on_paper(paper: Paper, *, lpi: Decimal, step: Decimal, bands: int, dpi: Resolution, flip: str = LEFT_RIGHT,
                    length: Length | None = None, band_height: Length = DEFAULT_BAND_HEIGHT, gap: Length = DEFAULT_GAP,
                    mirrored: bool = False, code: str | None = None) -> tuple[ChartPage, ...]:
    """One chart over as few pages as hold it; bands are numbered through all pages.

    ``length`` None means the widest inside the margins. Raises Refused as make_chart does, and where not even two
    bands fit a page.
    """
    pitches = band_pitches(lpi=lpi, step=step, bands=bands)

    def page(part: Sequence[Decimal], first: int, long: Length) -> ChartPlan:
        return chart_of_pitches(part, dpi=dpi, length=long, band_height=band_height, gap=gap, flip=flip,
                                mirrored=mirrored, code=code, first_number=first, of_bands=bands)

    for pages in range(1, bands // 2 + 1):
        parts = _parts(pitches, pages)
        longest = length or _longest([page(part, first, _TRIAL_LENGTH) for first, part in parts], paper, flip=flip)
        plans = [page(part, first, longest) for first, part in parts] if longest else []
        if plans and all(_fits(plan, paper) for plan in plans):
            return tuple(_placed(plan, paper) for plan in plans)
    raise Refused("paper: not even two bands of this chart fit the page between its margins; use a larger page, a "
                  "shorter length or lower bands.", field="paper")


def _parts(pitches: Sequence[Decimal], pages: int) -> list[tuple[int, Sequence[Decimal]]]:
    """The pitches in ``pages`` nearly equal runs, each with the number of its first band; the longest run first."""
    shortest, longer = divmod(len(pitches), pages)
    parts, start = [], 0
    for page in range(pages):
        end = start + shortest + (page < longer)
        parts.append((start + 1, pitches[start:end]))
        start = end
    return parts


def _longest(trials: Sequence[ChartPlan], paper: Paper, *, flip: str) -> Length | None:
    """The bands' greatest length inside the margins, from trials' panels; None where there is no room.

    On a roll a chart for the down axis is as long as the roll is wide.
    """
    room = paper.printable_height_in
    if flip == LEFT_RIGHT or room is None:
        return millimetres(paper.printable_width_in)
    left = min(room - (trial.head.height + trial.foot.height) / trial.dpi[1] for trial in trials) - _SLACK_IN
    return millimetres(left) if left >= _SHORTEST_IN else None


def _size_in(plan: ChartPlan) -> tuple[Fraction, Fraction]:
    return plan.size_dots[0] / plan.dpi[0], plan.size_dots[1] / plan.dpi[1]


def _fits(plan: ChartPlan, paper: Paper) -> bool:
    """Whether the chart lies between the margins, a rounded dot more or less."""
    width, height = _size_in(plan)
    room = paper.printable_height_in
    return width <= paper.printable_width_in + 1 / plan.dpi[0] and (room is None or height <= room + 1 / plan.dpi[1])


def _placed(plan: ChartPlan, paper: Paper) -> ChartPage:
    width, height = _size_in(plan)
    margin = paper.margin.inches
    return ChartPage(plan=plan, width_in=paper.width.inches, left_in=(paper.width.inches - width) / 2, top_in=margin,
                     height_in=height + 2 * margin if paper.height is None else paper.height.inches)


def page_sidecar(page: ChartPage) -> dict[str, str]:
    """The page's size and the chart's place on it, in inches as decimal text."""
    return {"width_in": text(page.width_in), "height_in": text(page.height_in), "left_in": text(page.left_in),
            "top_in": text(page.top_in)}
