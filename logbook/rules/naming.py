"""What a job is called where nobody said it: after its pictures, without what a camera or a computer added."""

import re
from collections.abc import Sequence
from itertools import takewhile

LEAST_LETTERS = 3
_CAMERA = re.compile(
    r"\b(?:img|dsc[fn]?|pict?|pxl|mvimg|photo|image|picture|scan|screenshot|copy|final|edit(?:ed)?)\b", re.IGNORECASE
)
_NUMBERS = re.compile(r"[\d(){}\[\].,]+")
_TAIL = re.compile(r"\b(?:left|right|top|bottom|front|back|frame|layer|view|no|nr|v)\W*$", re.IGNORECASE)


def name_from_files(names: Sequence[str]) -> str:
    """A name that the files share, else the first file's; empty where nothing but a camera's numbering is there.

    ``lighthouse-day.jpg`` and ``lighthouse-night.jpg`` are "Lighthouse", ``IMG_2041.JPG`` alone is nothing.
    """
    stems = [_words(name) for name in names]
    alike = takewhile(lambda letters: len(set(letters)) == 1, zip(*map(str.lower, stems), strict=False))
    whole = stems[0][: len(list(alike))] if len(stems) > 1 else ""
    if whole and not all(len(stem) == len(whole) or not stem[len(whole)].isalpha() for stem in stems):
        whole = whole.rpartition(" ")[0]  # a word that was cut in the middle is no word
    for words in (whole, *stems[:1]):
        if len(cleaned := _TAIL.sub("", words).strip(" -")) >= LEAST_LETTERS:
            return cleaned[0].upper() + cleaned[1:]
    return ""


def _words(name: str) -> str:
    """The words of a file name: no ending, no numbers, nothing that a camera or a computer writes."""
    stem = name.rsplit(".", 1)[0] if "." in name[1:] else name
    plain = _NUMBERS.sub(" ", re.sub(r"[_\-+~]+", " ", stem))
    return " ".join(_CAMERA.sub(" ", plain).split())
