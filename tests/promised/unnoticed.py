"""What no test enters or notices, and why that is so: an entry goes when its line goes."""

FORKED = "runs in a forked copy, which nobody measures; its bytes are compared with those of threads"
GUARD = "a bound that lies below what 64 bits hold: a little lower or higher, both ways give the same exact numbers"

UNENTERED = {
    "painting.py": {
        "if self.pid == 0:": FORKED,
        "for number, top in enumerate(self._tops):": FORKED,
        "if not os.read(freed, 1):": FORKED,
        "for strip in self._bands.encode(band) if self._bands.packed else []:": FORKED,
        "while data:": FORKED,
    },
    "weave.py": {
        "if self.bits == 8 and largest_gain(windows) * 255 * 2**_ALONG_BITS[8] >= 2**24:":
            "a guard of exact sums; of 4,000 random windows the largest gain was 1.57, and it takes 2.007",
    },
    "view.py": {
        "if not profile:": "the other way needs a profile of inks, of which none may be passed on with the tests",
    },
}
"""By the name of a module, the line that branches."""

_FITS = "fits = abs(step_n) * count + abs(start_n) < 2**62 and denominator < 2**62"
_STRIP = "strip = numerators.astype(object) * pictures // denominator if denominator > 2**62 // max(pictures, 1) \\"
ALIKE = {
    ("phase", _FITS, "Lt → LtE"): GUARD,
    ("phase", _FITS, "62 → 63"): GUARD,
    ("phase", _FITS, "62 → 61"): GUARD,
    ("phase", _FITS, "Add → Sub"): GUARD,
    ("phase", _STRIP, "Gt → GtE"): GUARD,
    ("phase", _STRIP, "62 → 61"): GUARD,
    ("phase", _STRIP, "FloorDiv → Div"): "of the bound alone; of the dots themselves it is noticed",
    ("phase", _STRIP, "2 → 1"): "always exact, only slower",
    ("phase", _STRIP, "Pow → Mult"): "always exact, only slower",
    ("phase", _STRIP, "1 → 2"): GUARD,
    ("phase", _STRIP, "1 → 0"): "there is no print of no pictures",
    ("phase", "count: int, *, lpi: Decimal, dpi: Fraction, offset: Fraction = Fraction(0)", "0 → 1"):
        "an offset by a whole lenticule",
    ("phase", "count: int, *, lpi: Decimal, dpi: Fraction, offset: Fraction = Fraction(0)", "0 → -1"):
        "an offset by a whole lenticule",
    ("phase", "def owners(count: int, *, lpi: Decimal, dpi: Fraction, pictures: int, offset: Fraction = Fraction(0),",
     "0 → 1"): "an offset by a whole lenticule",
    ("phase", "def owners(count: int, *, lpi: Decimal, dpi: Fraction, pictures: int, offset: Fraction = Fraction(0),",
     "0 → -1"): "an offset by a whole lenticule",
    ("distance", "unit = convert(Decimal(1), u_lpi=0.0, seen=seen, wanted=wanted)", "0.0 → 1.0"):
        "the reading's own uncertainty is no part of the conversion's",
    ("readings", 'count = Decimal(match["whole"] or 0) + Decimal(match["over"] or 0) / Decimal(match["under"] or 1)',
     "1 → 2"): "nothing over anything is nothing",
}  # fmt: skip
"""Alterations that change nothing: module, the text of the line, what becomes of it."""
