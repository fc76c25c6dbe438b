"""The bytes of a TIFF 6.0 (or BigTIFF) header and directory, little-endian, one image in strips.

Tag numbers and types: "TIFF Revision 6.0", Adobe, 1992, sections 2 to 8 and 14;
tag 34675 holds an ICC profile (ICC.1, annex B).
"""

import struct
from collections.abc import Sequence
from fractions import Fraction
from typing import TYPE_CHECKING

from logbook.refusals import Refused

if TYPE_CHECKING:
    from logbook.engine.rasterfile import Form

_ASCII, _SHORT, _LONG, _RATIONAL, _UNDEFINED, _LONG8 = 2, 3, 4, 5, 7, 16
_COMPRESSION = {"none": 1, "lzw": 5, "deflate": 8}
_PHOTOMETRIC = {1: 1, 3: 2, 4: 5}

_Entry = tuple[int, int, int, bytes]


def header(*, directory: int, big: bool) -> bytes:
    """The first bytes of the file, pointing to the directory."""
    if big:
        return struct.pack("<2sHHHQ", b"II", 43, 8, 0, directory)
    return struct.pack("<2sHI", b"II", 42, directory)


def header_and_directory(form: "Form", lengths: Sequence[int], *, big: bool) -> bytes:
    """Everything that stands before the first strip when the strips' lengths are known beforehand."""
    start = 16 if big else 8
    size = len(_directory(form, [0] * len(lengths), lengths, at=start, big=big))
    first = start + size + (start + size) % 2
    offsets = _offsets(lengths, first=first)
    body = _directory(form, offsets, lengths, at=start, big=big)
    return (header(directory=start, big=big) + body).ljust(first, b"\0")


def directory_behind(form: "Form", lengths: Sequence[int], *, at: int, big: bool) -> bytes:
    """The directory for a file whose strips follow the header, to stand at byte ``at``."""
    return _directory(form, _offsets(lengths, first=16 if big else 8), lengths, at=at, big=big)


def _offsets(lengths: Sequence[int], *, first: int) -> list[int]:
    offsets = [first]
    for length in lengths[:-1]:
        offsets.append(offsets[-1] + length)
    return offsets


def rational(value: Fraction) -> bytes:
    """A RATIONAL exactly. Raises Refused where 32 bits do not hold it."""
    if value.numerator >= 2**32 or value.denominator >= 2**32:
        raise Refused(f"The resolution {float(value)} cannot be written exactly into a TIFF: use fewer decimals.",
                      field="dpi")
    return struct.pack("<II", value.numerator, value.denominator)


def _entries(form: "Form", offsets: Sequence[int], lengths: Sequence[int], big: bool) -> list[_Entry]:
    kind, letter = (_LONG8, "Q") if big else (_LONG, "I")
    found = [
        _long(256, form.dots[0]), _long(257, form.dots[1]), _shorts(258, [form.bits] * form.channels),
        _shorts(259, [_COMPRESSION[form.compression]]), _shorts(262, [_PHOTOMETRIC[form.channels]]),
        (273, kind, len(offsets), struct.pack(f"<{len(offsets)}{letter}", *offsets)),
        _shorts(277, [form.channels]), _long(278, form.strip_rows),
        (279, kind, len(lengths), struct.pack(f"<{len(lengths)}{letter}", *lengths)),
        (282, _RATIONAL, 1, rational(form.dpi[0])), (283, _RATIONAL, 1, rational(form.dpi[1])),
        _shorts(284, [1]), _shorts(296, [2]),
    ]
    if form.compression != "none":
        found.append(_shorts(317, [2]))
    for tag, text in ((270, form.description), (305, form.software)):
        if text:
            data = text.encode("ascii", "backslashreplace") + b"\0"
            found.append((tag, _ASCII, len(data), data))
    if form.profile:
        found.append((34675, _UNDEFINED, len(form.profile), form.profile))
    return sorted(found)


def _shorts(tag: int, values: Sequence[int]) -> _Entry:
    return tag, _SHORT, len(values), struct.pack(f"<{len(values)}H", *values)


def _long(tag: int, value: int) -> _Entry:
    return tag, _LONG, 1, struct.pack("<I", value)


def _directory(form: "Form", offsets: Sequence[int], lengths: Sequence[int], *, at: int, big: bool) -> bytes:
    entries = _entries(form, offsets, lengths, big)
    room, count, line = (8, "<Q", "<HHQ") if big else (4, "<H", "<HHI")
    body, outside = struct.pack(count, len(entries)), b""
    after = at + len(body) + len(entries) * (8 if not big else 12) + len(entries) * room + room
    for tag, kind, number, data in entries:
        if len(data) > room:
            where = after + len(outside)
            outside += data + b"\0" * (len(data) % 2)
            data = struct.pack("<Q" if big else "<I", where)
        body += struct.pack(line, tag, kind, number) + data.ljust(room, b"\0")
    return body + b"\0" * room + outside
