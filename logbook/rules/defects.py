"""What can be wrong with a print, and the stage that caused it: the shop's own short codes."""

CAUSES = {
    "E1": ("order of the pictures or axis wrong", "interlace"),
    "E2": ("pitch: wrong at the sides", "interlace"),
    "E3": ("ghosting: another picture shines through", "interlace"),
    "P1": ("bands or missing nozzles", "print"),
    "P2": ("wrong size or scale", "print"),
    "D1": ("not dry: ink under the film", "dry"),
    "A1": ("crease", "adhesive"),
    "A2": ("silvering or bubbles under the film", "adhesive"),
    "L1": ("skew: diagonal bands", "laminate"),
    "L2": ("slipped while feeding", "laminate"),
    "L3": ("dust or bubble under the lens", "laminate"),
    "L4": ("lens scratched or crushed", "laminate"),
    "W1": ("bow, or edge lifted while resting", "dwell"),
    "T1": ("chipped edge", "trim"),
    "T2": ("cut to the wrong size or not square", "trim"),
    "H1": ("damaged while handling or packing", "pack"),
    "M1": ("the material itself", "materials"),
}
"""Code to what was seen and the stage where it came from. Common practice, no source."""


def cause_words(code: str) -> str:
    """A cause in words, "not said" for none."""
    return f"{code} {CAUSES[code][0]}" if code in CAUSES else "not said"


def stage_of_cause(code: str) -> str:
    """The stage that caused it, "not said" for none."""
    return CAUSES[code][1] if code in CAUSES else "not said"
