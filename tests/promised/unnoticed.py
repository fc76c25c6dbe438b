"""What no test enters or notices, and why that is so: an entry goes when its line goes."""

FORKED = "runs in a forked copy, which nobody measures; its bytes are compared with those of threads"
GUARD = "a bound that lies below what 64 bits hold: a little lower or higher, both ways give the same exact numbers"

BORDER = "a float that meets its bound to the last bit: nobody can say which answer is right there"
LONG = "the lists are always of one length"
PARTS = "only how many are read at once"
BEYOND = "any number beyond every entry's does"

ROUNDED = "it only limits the step of a next chart, which is rounded up to 0.005 lines per inch"

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
    ("phase", _STRIP, "62 → 63"): GUARD,
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
    ("fit", "return apart <= max(0.15, 3 * joint)", "LtE → Lt"): BORDER,
    ("fit", "gaps = list(zip([-np.inf, *bands], [*bands, np.inf], strict=True))", "True → False"): LONG,
    ("fit", "found = [m for m, (low, high) in zip(free, gaps, strict=True) if low <= m.pitch <= high]", "True → False"):
        LONG,
    ("fit", "found = [m for m, (low, high) in zip(free, gaps, strict=True) if low <= m.pitch <= high]", "LtE → Lt"):
        "a tip on a band lies in the gaps on both sides: one of them is enough",
    ("fit", "for r, e in zip(readings, expected, strict=True))", "True → False"): LONG,
    ("fit", "if before.pitch > band > behind.pitch:", "Gt → GtE"): BORDER,
    ("fit", "side = np.where(problem.pitches > band, 1.0, -1.0)", "Gt → GtE"):
        "at the tip itself both arms say the same",
    ("fit", "tied = [m.pitch for m in minima if m.solution.chi2 - best.solution.chi2 < _TIE_CHI2", "Lt → LtE"): BORDER,
    ("fit", "and abs(m.pitch - best.pitch) <= _SECOND_MINIMUM_SIGMAS * best.u]", "LtE → Lt"): BORDER,
    ("fit", "if rms > _LARGEST_RMS:", "Gt → GtE"): BORDER,
    ("fit", "for other in minima[1:]:", "1 → 0"): "the best pitch is not far from itself",
    ("fit", "far = abs(other.pitch - best.pitch) > _SECOND_MINIMUM_SIGMAS * best.u", "Gt → GtE"): BORDER,
    ("fit", "if far and other.solution.chi2 - best.solution.chi2 < _SECOND_MINIMUM_CHI2:", "Lt → LtE"): BORDER,
    ("fit", "half = (pitches[-1] - pitches[0]) / 2 if pitches else Decimal(0)", "0 → 1"):
        "without a band, far from its middle all the same",
    ("fit", "half = (pitches[-1] - pitches[0]) / 2 if pitches else Decimal(0)", "0 → -1"):
        "without a band, far from its middle all the same",
    ("fit", "away = abs(lpi - (pitches[0] + half)) if pitches else Decimal(1)", "1 → 2"):
        "without a band, far from its middle all the same",
    ("fit", "good = 2 * u_lpi * float(width_in) <= GOOD_ENOUGH_LENTICULES", "LtE → Lt"): BORDER,
    ("fit", "if good and float(away) <= _INNER_SHARE * float(half):", "LtE → Lt"): BORDER,
    ("fit", "elif _SURE_SIGMAS * u_lpi > float(step) * (_FINE_BANDS // 2):", "Gt → GtE"): BORDER,
    ("fit", "_USUAL_DPI = Fraction(720)", "720 → 721"): ROUNDED,
    ("fit", "_USUAL_DPI = Fraction(720)", "720 → 719"): ROUNDED,
    ("chain", "_OBJECTS_AT_ONCE = 8192", "8192 → 8193"): PARTS,
    ("chain", "_OBJECTS_AT_ONCE = 8192", "8192 → 8191"): PARTS,
    ("chain", "_NO_ENTRY = 2**63", "2 → 3"): BEYOND,
    ("chain", "_NO_ENTRY = 2**63", "63 → 64"): BEYOND,
    ("chain", "_NO_ENTRY = 2**63", "63 → 62"): BEYOND,
    ("chain", "def check_part(session: Session, after: Link, *, count: int = 2000) -> tuple[str | None, Link | None]:",
     "2000 → 2001"): PARTS,
    ("chain", "def check_part(session: Session, after: Link, *, count: int = 2000) -> tuple[str | None, Link | None]:",
     "2000 → 1999"): PARTS,
    ("chain", "if number < lowest:", "Lt → LtE"): "the same number again",
    ("chain", "lowest = min(objects, default=_NO_ENTRY + 1)", "1 → 2"): BEYOND,
}  # fmt: skip
"""Alterations that change nothing: module, the text of the line, what becomes of it."""
