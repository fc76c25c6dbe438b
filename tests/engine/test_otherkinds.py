"""Files of other kinds are named by their first bytes (the marks of the kinds' own specifications, from memory)."""

import pytest

from logbook.engine.otherkinds import named


@pytest.mark.parametrize(("start", "words"), [
    (b"GIF89a...", "a GIF"),
    (b"%PDF-1.7", "a PDF"),
    (b"\0\0\0\x18ftypheic\0\0\0\0", "a HEIC picture"),
    (b"\0\0\0\x18ftypavif\0\0\0\0", "an AVIF picture"),
    (b"RIFF\x10\0\0\0WEBPVP8 ", "a WebP picture"),
    (b"\xef\xbb\xbf  <SVG xmlns=", "an SVG drawing"),
    (b"<?xml version='1.0'?>", "an SVG drawing"),
])
def test_what_it_is_and_the_way_out_is_said(start, words):
    told = named(start)
    assert words in told
    assert "JPEG" in told


@pytest.mark.parametrize("start", [b"", b"\xff\xd8\xff\xe0", b"\0\0\0\x18ftypmp42", b"RIFF\x10\0\0\0WAVEfmt ", b"text"])
def test_what_is_not_known_is_not_guessed(start):
    assert named(start) is None
