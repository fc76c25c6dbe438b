"""What an eye sees through the lens: one sample per lenticule from the part of the strip it looks at.

The lens lies with phase zero on the raster's phase zero (``seen_from``), or is
registered in the middle of the print (perspective view). A ray from the eye
through the middle of a lenticule is refracted (Snell's law) and lands beyond it,
so an eye at the left sees what lies on the right.
"""

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from io import BytesIO
from pathlib import Path

import numpy as np
from PIL import Image, ImageCms

from logbook.engine.pixelstore import PixelStore
from logbook.engine.plan import Plan
from logbook.engine.readback import Raster
from logbook.engine.sources import common_ground, decode, inspect
from logbook.engine.weave import Weave
from logbook.engine.wholefile import WholeFile
from logbook.refusals import Refused

MM_PER_INCH = 25.4
MOVING_LONG_SIDE, STEP_MS, END_MS = 480, 70, 600
"""A moving view: dots along its longer side, milliseconds for a step, and at either end, where an eye rests."""
_FINER = 4


def seen_from(count: int, *, lpi: Decimal, dpi: Fraction, pictures: int, place: Fraction,
              lens_offset: Fraction = Fraction(0)) -> np.ndarray:
    """For each of ``count`` dots along the pitch axis, the dot whose colour the lens shows there.

    ``place`` -1 … 1: -1 is the middle of PICTURE 1's strip (far left, or from
    above), 1 the middle of PICTURE N's. ``lens_offset``: lenticules by which the
    lens is laid to the right (down). Exact.
    """
    if not -1 <= place <= 1:
        raise Refused("from: a place between -1 (far left) and 1 (far right).", field="from")
    phase = Fraction(1, 2) - place * (Fraction(1, 2) - Fraction(1, 2 * pictures))
    per_dot = Fraction(lpi) / dpi
    lenticule = _floors(count, start=per_dot / 2 - lens_offset, step=per_dot)
    first, last = int(lenticule[0]), int(lenticule[-1])
    dots = _floors(last - first + 1, start=(first + phase + lens_offset) / per_dot, step=1 / per_dot)
    shown: np.ndarray = np.clip(dots, 0, count - 1)[lenticule - first]
    return shown


def _floors(count: int, *, start: Fraction, step: Fraction) -> np.ndarray:
    """floor(start + i * step) for i = 0 … count-1, exact."""
    common = int(np.lcm(step.denominator, start.denominator, dtype=object))
    big = (abs(int(start * common)) + count * abs(int(step * common))) >= 2**62
    index = np.arange(count, dtype=object if big else np.int64)
    floors: np.ndarray = ((int(start * common) + index * int(step * common)) // common).astype(np.int64)
    return floors


def seen_at(count: int, *, lpi: Decimal, dpi: Fraction, lens_lpi: float, thickness_mm: float, index: float,
            distance_mm: float, eye_mm: float, scale: float = 1.0, lens_offset: float = 0.0) -> np.ndarray:
    """Like ``seen_from`` for one eye at a real place: each lenticule is seen at its own angle.

    ``distance_mm`` from the lens, ``eye_mm`` right (down) of the middle,
    ``lens_lpi`` lines per real inch, ``scale`` printed length over nominal length.
    The lens is registered in the middle of the print, ``lens_offset`` lenticules off.
    """
    _check_bench(lens_lpi=lens_lpi, thickness_mm=thickness_mm, index=index, distance_mm=distance_mm, scale=scale)
    dot_mm = MM_PER_INCH * scale / float(dpi)
    pitch_mm, half = MM_PER_INCH / lens_lpi, count / 2
    middle_phase = float((Fraction(count, 2) * Fraction(lpi) / dpi) % 1) - lens_offset
    from_middle_mm = (np.arange(count) + 0.5 - half) * dot_mm
    lenticule = np.floor(from_middle_mm / pitch_mm + middle_phase)
    vertex_mm = (lenticule + 0.5 - middle_phase) * pitch_mm
    slope = (vertex_mm - eye_mm) / distance_mm
    inside = slope / np.sqrt(1 + slope * slope) / index
    hit_mm = vertex_mm + thickness_mm * inside / np.sqrt(1 - inside * inside)
    shown: np.ndarray = np.clip(np.floor(hit_mm / dot_mm + half), 0, count - 1).astype(np.int64)
    return shown


def _check_bench(*, lens_lpi: float, thickness_mm: float, index: float, distance_mm: float, scale: float) -> None:
    for name, value in (("lens-lpi", lens_lpi), ("thickness", thickness_mm), ("distance", distance_mm),
                        ("scale", scale)):
        if not value > 0:
            raise Refused(f"{name}: must be more than zero.", field=name)
    if not 1 < index < 3:
        raise Refused("index: the refractive index of a lens lies between 1 and 3, for example 1.56.", field="index")


def view_size(dots: tuple[int, int], long_side: int | None) -> tuple[int, int]:
    """Dots of the view: those of the print, or reduced so that the longer side has ``long_side``."""
    if long_side is None or long_side >= max(dots):
        return dots
    if long_side < 1:
        raise Refused("long-side: at least one dot.", field="long-side")
    return max(1, round(dots[0] * long_side / max(dots))), max(1, round(dots[1] * long_side / max(dots)))


def view_of_raster(raster: Raster, seen: np.ndarray, *, across: bool, long_side: int | None = None) -> Image.Image:
    """The view of a print, mirrored back first where its sheet is a reversed one."""
    wide, high = raster.dots
    size = view_size(raster.dots, long_side)
    columns, rows = _samples(wide, size[0]), _samples(high, size[1])
    columns, rows = (seen[columns], rows) if across else (columns, seen[rows])
    if raster.story.get("reversed"):
        columns = wide - 1 - columns
    pixels = np.empty((len(rows), len(columns), raster.pixels.shape[2]), dtype=np.uint8)
    # a mapped file hands out each row through a class of its own, which takes longer than the row itself
    plain = raster.pixels.view(np.ndarray)
    for at, row in enumerate(rows):
        pixels[at] = _eight_bits(plain[row][columns])
    return _picture(pixels, raster.mode, raster.profile, size)


def view_of_pictures(plan: Plan, picture_paths: Sequence[Path | str], seen: np.ndarray, *,
                     long_side: int) -> Image.Image:
    """The view of a print that need not exist yet, straight from the pictures (in the given order).

    Only the dots that the eye sees are computed: quick enough for a page.
    """
    sources = [inspect(picture_paths[number - 1]) for number in plan.order]
    size = view_size(plan.dots, long_side)
    columns, rows = _samples(plan.dots[0], size[0]), _samples(plan.dots[1], size[1])
    wanted = (seen[columns], rows) if plan.across else (columns, seen[rows])
    (columns, back_across), (rows, back_down) = (np.unique(index, return_inverse=True) for index in wanted)
    ground = common_ground(sources, backdrop=plan.backdrop)
    owners = plan.owners()[columns if plan.across else rows]
    weave = Weave(plan.placements([source.size for source in sources]), owners, plan.across, columns - plan.margins[0],
                  rows - plan.margins[1], ground.paper, ground.bits)
    out: np.ndarray = np.empty((len(rows), len(columns), ground.channels), dtype=ground.kind)
    with PixelStore() as store:
        for number, source in enumerate(sources):
            store.add(number, decode(source, ground))
        weave.band(store, 0, len(rows), out)
    return _picture(_eight_bits(out)[back_down][:, back_across], ground.mode, ground.profile, size)


def _samples(dots: int, wanted: int) -> np.ndarray:
    """The dots that a view of ``wanted`` dots looks at: all, or a few times finer than the view."""
    if wanted >= dots:
        return np.arange(dots)
    finer = min(dots, wanted * _FINER)
    return (2 * np.arange(finer) + 1) * dots // (2 * finer)


def _eight_bits(pixels: np.ndarray) -> np.ndarray:
    if pixels.dtype == np.uint8:
        return pixels
    return ((pixels.astype(np.uint32) + 128) // 257).astype(np.uint8)


def _picture(pixels: np.ndarray, mode: str, profile: bytes | None, size: tuple[int, int]) -> Image.Image:
    image = Image.fromarray(pixels[:, :, 0] if mode == "L" else pixels, mode)
    if image.size != size:
        image = image.resize(size, Image.Resampling.BOX)
    if mode == "CMYK":
        return _shown(image, profile)
    if profile:
        image.info["icc_profile"] = profile
    return image


def _shown(image: Image.Image, profile: bytes | None) -> Image.Image:
    """CMYK for the screen: through its profile where it has one, else the plain complement of the inks."""
    if not profile:
        return image.convert("RGB")
    shown = ImageCms.profileToProfile(image, ImageCms.ImageCmsProfile(BytesIO(profile)),
                                      ImageCms.createProfile("sRGB"), outputMode="RGB")
    assert shown is not None  # None only when converting in place
    return shown


def save_moving(frames: Sequence[Image.Image], out: Path | str) -> None:
    """Write views as a moving GIF, there and back for ever, whole or not at all. At least two frames of one size."""
    out = Path(out)
    small = [frame.convert("RGB").quantize(128, dither=Image.Dither.FLOYDSTEINBERG) for frame in frames]
    way, steps = [*small, *small[-2:0:-1]], [STEP_MS] * (len(small) - 2)
    kept = BytesIO()
    way[0].save(kept, "GIF", save_all=True, append_images=way[1:], loop=0, disposal=1,
                duration=[END_MS, *steps, END_MS, *steps])
    with WholeFile(out) as whole:
        whole.write(kept.getbuffer())
        whole.commit()


def save_view(image: Image.Image, out: Path | str) -> None:
    """Write a view as PNG or TIFF, whole or not at all."""
    out = Path(out)
    kind = {".png": "PNG", ".tif": "TIFF", ".tiff": "TIFF"}.get(out.suffix.lower())
    if kind is None:
        raise Refused(f"{out.name}: a view is written as .png or .tif, a moving one as .gif.", field="out")
    kept = BytesIO()
    info = {"icc_profile": image.info["icc_profile"]} if image.info.get("icc_profile") else {}
    image.save(kept, kind, **info)
    with WholeFile(out) as whole:
        whole.write(kept.getbuffer())
        whole.commit()


