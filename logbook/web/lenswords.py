"""The numbers of a lens in words: one sentence each, marked geometry or rule of thumb."""

from collections.abc import Iterator
from dataclasses import dataclass

from logbook.engine.choosing import COARSEST_HAND, DEPTH, EYES_MM, FEW_DOTS, FINEST_FAR, FINEST_HAND, Looks, Use

GEOMETRY, THUMB = "geometry", "rule of thumb"


@dataclass(frozen=True, slots=True)
class Said:
    """One reason: where it comes from, whether it speaks against the lens, and the sentence."""

    mark: str
    against: bool
    sentence: str

    @property
    def kept(self) -> str:
        """As it is kept with the choice."""
        return f"{self.sentence} ({self.mark})"


def said(found: Looks, use: Use) -> list[Said]:
    """Every number of a lens as a sentence."""
    return [*_lines(found), *_angle(found), *_eyes(found, use), *_dots(found, use), *_sheet(found), *_thumb(found, use)]


def _lines(found: Looks) -> Iterator[Said]:
    seen = "an eye that resolves one does not see them" if found.line_arcmin <= 1 else "one is what a good eye resolves"
    yield Said(GEOMETRY, False, f"Its lines look {found.line_arcmin:.1f} arc minutes wide; {seen}.")


def _angle(found: Looks) -> Iterator[Said]:
    if found.view_deg is None:
        yield Said(GEOMETRY, False, "Its view angle is not known: thickness or index is not on record.")
    else:
        yield Said(GEOMETRY, False, f"All pictures are seen once within {found.view_deg:.0f}°.")


def _eyes(found: Looks, use: Use) -> Iterator[Said]:
    wanted = ", and depth needs two" if found.eyes_wrong and use.effect == DEPTH else ""
    if use.flip != "left-right":
        along = "Both eyes always see the same picture: its ridges run across"
        yield Said(GEOMETRY, found.eyes_wrong, f"{along}{wanted}.")
    elif found.picture_zone_mm is not None:
        both = "both eyes fit into one" if found.eyes_together else "both eyes never see the same one"
        width = f"One picture is seen over {found.picture_zone_mm:.0f} mm at that distance"
        apart = f"eyes are {EYES_MM:.0f} mm apart"
        yield Said(GEOMETRY, found.eyes_wrong, f"{width}; {apart}: {both}{wanted}.")


def _dots(found: Looks, use: Use) -> Iterator[Said]:
    for printer, dots in found.dots_per_strip.items():
        if dots < 1:
            yield Said(
                GEOMETRY, True, f"{printer}: {dots:.1f} dots per strip, fewer than one: it cannot be interlaced."
            )
            continue
        few = f"; an edge may be off by {50 / dots:.0f} % of its strip" if dots < FEW_DOTS else ""
        yield Said(GEOMETRY, dots < FEW_DOTS, f"{printer}: {dots:.1f} dots per strip{few}.")
    if not found.dots_per_strip:
        yield Said(GEOMETRY, False, f"No printer is in use to count the dots of {use.pictures} strips.")


def _sheet(found: Looks) -> Iterator[Said]:
    if found.sheet_fits is None:
        yield Said(GEOMETRY, False, "The size of its sheets is not on record.")
    elif found.sheet_fits:
        yield Said(GEOMETRY, False, "A sheet in stock covers the print with its bleed.")
    else:
        yield Said(GEOMETRY, True, "No sheet in stock covers the print with its bleed.")


def _thumb(found: Looks, use: Use) -> Iterator[Said]:
    hand = f"in the hand {COARSEST_HAND:.0f} to {FINEST_HAND:.0f} lines per inch"
    far = f"large and distant {FINEST_FAR:.0f} or fewer"
    here = {True: "the trade would take it", False: "the trade would take another", None: "it says nothing here"}
    rule = hand if use.use == "hand" else far
    yield Said(THUMB, found.thumb is False, f"{rule.capitalize()}: {here[found.thumb]}.")
