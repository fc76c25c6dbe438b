"""Files that are no JPEG, PNG or TIFF, told apart by their first bytes: why not, and the way out.

The marks at the start are those of the kinds' own specifications (from memory).
"""

_ANY = "export it as a JPEG, PNG or TIFF picture"
_DRAWING = "is {}, not a picture of pixels: have it drawn at the printed size and resolution and " + _ANY + "."
_PHONE = ("is {}, as phones and cameras write it, which this logbook does not open: share or export it as JPEG "
          "from the phone's or computer's own picture program, at full size.")

_STARTS = (
    (b"GIF8", f"is a GIF, of 256 colours at most and often moving: {_ANY} from the original, one file for each."),
    (b"%PDF-", _DRAWING.format("a PDF")),
    (b"%!PS", _DRAWING.format("an EPS or PostScript drawing")),
    (b"\xc5\xd0\xd3\xc6", _DRAWING.format("an EPS or PostScript drawing")),
    (b"8BPS", f"is a file of layers from a picture program: flatten a copy and {_ANY}."),
    (b"BM", f"is a BMP picture, which carries no colour profile: {_ANY}."),
    (b"\0\0\0\x0cjP  \r\n", f"is a JPEG 2000 picture, another kind than JPEG: {_ANY}."),
    (b"\0\0\0\x0cJXL ", f"is a JPEG XL picture, another kind than JPEG: {_ANY}."),
    (b"PK\x03\x04", "is a packed folder: unpack it and send the pictures themselves."),
)
_BOXED = {b"heic": "a HEIC picture", b"heix": "a HEIC picture", b"heim": "a HEIC picture", b"heis": "a HEIC picture",
          b"hevc": "a moving HEIC picture", b"mif1": "a HEIF picture", b"msf1": "a moving HEIF picture",
          b"avif": "an AVIF picture", b"avis": "a moving AVIF picture"}


def named(start: bytes) -> str | None:
    """What a file is whose first bytes (64 will do) are these, and what to do instead; None where it is not known."""
    for mark, words in _STARTS:
        if start.startswith(mark):
            return words
    if start[4:8] == b"ftyp" and start[8:12] in _BOXED:
        return _PHONE.format(_BOXED[start[8:12]])
    if start[:4] == b"RIFF" and start[8:12] == b"WEBP":
        return f"is a WebP picture, made for web pages and mostly with loss: {_ANY} from the original."
    text = start.lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    if text.startswith((b"<svg", b"<?xml", b"<!doctype svg")):
        return _DRAWING.format("an SVG drawing or another text")
    return None
