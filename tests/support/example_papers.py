"""Invented papers for tests: a small shop, one job, two sheets, no real name."""

import io
from dataclasses import replace

from PIL import Image, ImageDraw

from logbook.paper.shelf import read_shelf
from logbook.paper.views import Bench, Closed, Column, Entry, Imprint, Numbers, Pitch, Thumbnail, Traveller

IMPRINT = Imprint(shop="Fern Street Lens Works", printed_at="2026-11-25 09:40", printed_by="Ilse Marrow", revision="3",
                  audit_head="1204 · 9f27c0aa41d2")
ADDRESS = "http://192.168.7.20:8000/j/K7QMZ3TD"
LAMINATOR = Bench("laminator", "Big Crank", drive="hand", heated=False, competent_role="workshop lead",
                  manual="Maker's manual, 2nd edition, on the shelf by the press", stop_position="none (hand-driven)",
                  freeing_procedure="let go of the crank, turn it back by hand, open the gap; call for help")
PRINTER = Bench("printer", "Wide Blue", drive="powered")
KNIFE = Bench("trimmer", "Knife and clamped rule", drive="hand", cutting="knife")


def picture(shade: tuple[int, int, int], text: str) -> bytes:
    """A JPEG of a plain scene with a number in it."""
    image = Image.new("RGB", (320, 256), shade)
    draw = ImageDraw.Draw(image)
    draw.ellipse((90, 60, 230, 200), fill=tuple(255 - part for part in shade))
    draw.text((150, 115), text, fill=shade, font_size=40)
    out = io.BytesIO()
    image.save(out, "JPEG", quality=85)
    return out.getvalue()


PICTURES = {"picture-1.jpg": picture((40, 90, 120), "1"), "picture-2.jpg": picture((190, 120, 60), "2")}


def traveller(**changes) -> Traveller:
    """A job with two sheets and two pieces, half way through."""
    shelf = read_shelf()
    view = Traveller(
        imprint=IMPRINT, job="K7QMZ3TD", title="Harbour, day and night", address=ADDRESS, order="2026-041",
        customer="Quill & Moss Gallery", due="2026-12-04", quantity="2 pieces", steps=shelf.steps, cards=shelf.cards,
        pitch=Pitch("20.074", "0.004", "test", "P4ZK9 of 2026-11-20, lens lot L-311, Wide Blue, matte 230"),
        pictures=(Thumbnail(1, "picture-1.jpg", "day"), Thumbnail(2, "picture-2.jpg", "night")),
        numbers=Numbers("720 × 720", "9 × 11 in", "8 × 10 in", "5 mm", "2 m", "L-311 · 20 LPI · 3 mm",
                        "Matte 230, lot 88", "Clear 50 µm, lot A7", "Wide Blue", "Best, 8 passes",
                        "K7QMZ3TD_203x254mm_720dpi_20.074lpi.tif", "9f27c0aa41d2",
                        "file 236.0 × 288.4 mm with its marks: print at 100 %"),
        sheets=(Column("S4KD", ADDRESS + "/S4KD", "HBR-001"), Column("S9TX", ADDRESS + "/S9TX", "HBR-002")),
        pieces=(Column("HBR-001"), Column("HBR-002")),
        machines=(LAMINATOR, PRINTER, KNIFE), people=2,
        entries=(Entry("print-scale", "S4KD", "254.0 mm", "IM", "09:12"),
                 Entry("print-sign", "S4KD", "signed", "I. Marrow", "25 Nov 09:15")),
        closed=tuple(Closed(stage, f"signed by Ilse Marrow, 2026-11-2{day} 10:0{day}")
                     for day, stage in enumerate(("order", "pictures", "materials", "pitch", "interlace"))),
        limits={"trim-width": "203.2 ± 1.0 mm", "trim-height": "254.0 ± 1.0 mm"},
        leading_edge="top",
    )
    return replace(view, **changes)
