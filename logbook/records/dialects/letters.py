"""Letters as they are sought: whatever their accents and their case, and as people type them who lack the key."""

import unicodedata

TYPED_AS = {
    "ø": "o", "Ø": "o", "ł": "l", "Ł": "l", "đ": "d", "Đ": "d", "ð": "d", "Ð": "d", "ı": "i",
    "ß": "ss", "æ": "ae", "Æ": "ae", "œ": "oe", "Œ": "oe", "þ": "th", "Þ": "th",
}  # fmt: skip
"""Letters without a Unicode decomposition, which an index takes for letters of their own."""
_PLAIN = str.maketrans(TYPED_AS)


def plain_letters(words: str) -> str:
    """Words as the index holds them: what is sought must be written the same way."""
    return words.translate(_PLAIN)


MARKS = ((0x0300, 0x036F), (0x0483, 0x0487), (0x1AB0, 0x1AFF), (0x1DC0, 0x1DFF), (0x20D0, 0x20FF), (0xFE20, 0xFE2F))
"""Code points of what stands over and under letters (the Unicode blocks of combining marks)."""
LARGE = "".join(
    chr(code)
    for code in range(ord("A"), 0x3000)
    if len(chr(code).lower()) == 1 and chr(code).lower() != chr(code) == unicodedata.normalize("NFD", chr(code))
)
"""Capital letters that are no letter with a mark: the others fall to these."""
SMALL = "".join(letter.lower() for letter in LARGE)
_SMALL = str.maketrans(LARGE, SMALL)


def folded(words: str) -> str:
    """Letters without marks and case: PostgreSQL's own functions do it by the locale that it was set up with."""
    bare = (one for one in unicodedata.normalize("NFD", words) if not any(a <= ord(one) <= b for a, b in MARKS))
    return "".join(bare).translate(_SMALL)
