"""Pictures as a shop receives them: opened carefully and described.

JPEG, PNG and TIFF only. What cannot be kept whole (layers, pages, 16 bits that
the decoder would drop) is refused with the reason; what will be changed is stated
in a note, never done silently.
"""

import hashlib
import struct
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from PIL import Image

from logbook.engine import otherkinds
from logbook.refusals import Refused

FORMATS = ("JPEG", "PNG", "TIFF")
PIXEL_CAP = 400_000_000
SIDE_CAP = 60_000
PROFILE_CAP = 4_000_000

_PROFILE_SPACE = {"L": b"GRAY", "RGB": b"RGB ", "CMYK": b"CMYK"}
_FAMILY = {"1": "L", "L": "L", "LA": "L", "I;16": "L", "I;16B": "L", "RGB": "RGB", "RGBA": "RGB", "P": "RGB",
           "PA": "RGB", "CMYK": "CMYK"}
_ORIENTATION_TAG, _BITS_TAG, _LAYERS_TAG, TURNED = 274, 258, 37724, (5, 6, 7, 8)

Image.MAX_IMAGE_PIXELS = PIXEL_CAP  # above it Pillow warns, and a warning is an error here
warnings.filterwarnings("error", category=Image.DecompressionBombWarning)


@dataclass(frozen=True, slots=True)
class Source:
    """A picture file as its header describes it; ``size`` is (wide, high) the right way up."""

    path: Path
    sha256: str
    format: str
    size: tuple[int, int]
    mode: str
    family: str
    bits: int
    orientation: int
    profile: bytes | None
    transparent: bool
    notes: tuple[str, ...]


def allow_pixels(count: int) -> None:
    """Let this process open pictures of up to so many pixels, as the owner of a shop may ask for."""
    Image.MAX_IMAGE_PIXELS = count


def inspect(path: Path | str, *, pixel_cap: int | None = None) -> Source:
    """Describe a picture from its header. Raises Refused where it cannot be used."""
    pixel_cap = pixel_cap or Image.MAX_IMAGE_PIXELS or PIXEL_CAP
    path = Path(path)
    digest = _digest(path)
    with _opened(path) as image:
        try:
            return _described(image, path=path, digest=digest, pixel_cap=pixel_cap)
        except Refused:
            raise
        except Exception as error:  # decoders raise of every kind on damaged headers
            raise unreadable(path, error) from None


def _digest(path: Path) -> str:
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except FileNotFoundError:
        raise Refused(f"{path.name}: there is no such file.", field="pictures") from None
    except OSError as error:
        raise Refused(f"{path.name} cannot be read: {error.strerror}.", field="pictures") from None


def _opened(path: Path) -> Image.Image:
    try:
        image = Image.open(path, formats=FORMATS)
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        limit = (Image.MAX_IMAGE_PIXELS or PIXEL_CAP) // 1_000_000
        words = f"{path.name} has more pixels than the limit of {limit} million; save it smaller."
        raise Refused(words, field="pictures") from None
    except Exception:
        with path.open("rb") as file:
            known = otherkinds.named(file.read(64))
        words = known or "cannot be read as a JPEG, PNG or TIFF picture; save it anew as one of these."
        raise Refused(f"{path.name} {words}", field="pictures") from None
    return image


def unreadable(path: Path, error: Exception) -> Refused:
    """The one sentence for a file that its decoder gave up on."""
    why = str(error).rstrip(".")[:120]
    return Refused(f"{path.name} is damaged or ends early and cannot be decoded ({why}); copy or save it anew.",
                   field="pictures")


def _described(image: Any, *, path: Path, digest: str, pixel_cap: int) -> Source:
    notes: list[str] = []
    _check_kind(image, path=path, notes=notes)
    _check_size(image.size, path=path, pixel_cap=pixel_cap)
    family, bits = _FAMILY[image.mode], _bits(image, path)
    if bits == 16 and family != "L" and image.format == "PNG":
        raise Refused(f"{path.name} is a 16-bit colour PNG, of which the decoder would keep 8 bits: "
                      "save it as a 16-bit TIFF, or as 8 bits.", field="pictures")
    transparent = image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info
    orientation = _orientation(image, path)
    if orientation != 1:
        notes.append(f"{path.name}: turned upright as its orientation mark {orientation} asks.")
    size = image.size[::-1] if orientation in TURNED and image.format != "TIFF" else image.size
    profile = _profile(image, family=family, path=path, notes=notes)
    kind = "JPEG" if image.format == "MPO" else str(image.format)
    return Source(path, digest, kind, size, image.mode, family, bits, orientation, profile, transparent, tuple(notes))


def _check_kind(image: Any, *, path: Path, notes: list[str]) -> None:
    if image.format not in (*FORMATS, "MPO"):
        raise Refused(f"{path.name} is not a JPEG, PNG or TIFF picture; save it as one of these.", field="pictures")
    if image.mode not in _FAMILY:
        raise Refused(f"{path.name} has the pixel kind {image.mode}, which is not taken: "
                      "save it as grey, RGB or CMYK with 8 or 16 bits.", field="pictures")
    if image.format == "MPO":
        notes.append(f"{path.name} holds more than one picture; the first is used.")
    elif getattr(image, "n_frames", 1) > 1:
        raise Refused(f"{path.name} holds {image.n_frames} pages or frames; save the one that is meant as a "
                      "file of its own.", field="pictures")
    if image.format == "TIFF" and _LAYERS_TAG in image.tag_v2:
        raise Refused(f"{path.name} is a TIFF with layers; save it flattened.", field="pictures")


def _check_size(size: tuple[int, int], *, path: Path, pixel_cap: int) -> None:
    wide, high = size
    if wide < 1 or high < 1 or wide * high > pixel_cap or max(size) > SIDE_CAP:
        raise Refused(f"{path.name} is {wide} × {high} pixels; the limit is {pixel_cap // 1_000_000} million pixels "
                      f"and {SIDE_CAP} a side; save it smaller.", field="pictures")


def _bits(image: Any, path: Path) -> int:
    if image.mode.startswith("I;16"):
        return 16
    if image.format == "PNG":
        with path.open("rb") as file:
            return 16 if file.read(25)[24] == 16 else 8
    if image.format == "TIFF":
        return 16 if max(image.tag_v2.get(_BITS_TAG, (8,))) > 8 else 8
    return 8


def _orientation(image: Image.Image, path: Path) -> int:
    if image.format == "PNG" and "exif" not in image.info and not _png_has_exif(path):
        return 1
    value = image.getexif().get(_ORIENTATION_TAG, 1)
    return value if value in range(1, 9) else 1


def _png_has_exif(path: Path) -> bool:
    """Walk the chunk headers: a PNG may carry its orientation behind the pixels."""
    with path.open("rb") as file:
        file.seek(8)
        while len(head := file.read(8)) == 8:
            length, name = struct.unpack(">I4s", head)
            if name == b"eXIf":
                return True
            file.seek(length + 4, 1)
    return False


def _profile(image: Image.Image, *, family: str, path: Path, notes: list[str]) -> bytes | None:
    profile = image.info.get("icc_profile")
    if not profile:
        return None
    if len(profile) > PROFILE_CAP:
        raise Refused(f"{path.name} carries a colour profile of {len(profile)} bytes; the limit is {PROFILE_CAP}: "
                      "save it with an ordinary one.", field="pictures")
    if profile[16:20] != _PROFILE_SPACE[family] or profile[36:40] != b"acsp":
        notes.append(f"{path.name}: its colour profile is not one for its kind of pixels and was left out.")
        return None
    return bytes(profile)
