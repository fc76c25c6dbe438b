"""Versions that closed known holes.

Read in the change logs inside the source distributions of Flask 3.1.3, Werkzeug
3.1.6, WeasyPrint 70.0 (docs/changelog.rst) and Pillow 13.0.0
(docs/releasenotes/13.0.0.rst; its date is that of the files in the archive). The
Jinja identifier is from memory, its date that of the files in the archive of
Jinja2 3.1.6. This table knows no later hole: it says that these are closed, no more.
"""

from datetime import date

# package, lowest version, advisory, released, what it closed
FLOORS = [
    ("pillow", "13.0.0", "CVE-2026-96639", date(2026, 10, 16), "image storage reused after a change of mode"),
    ("pillow", "13.0.0", "GHSA-5x8w-8jj5-q52h", date(2026, 10, 16), "JPEG decoder writes past its buffer"),
    ("pillow", "13.0.0", "GHSA-462x-pgg6-55fp", date(2026, 10, 16), "TIFF tiles read past undersized buffers"),
    ("pillow", "13.0.0", "GHSA-332p-7hrc-92wf", date(2026, 10, 16), "TIFF encoder writes past its buffer"),
    ("pillow", "13.0.0", "CVE-2026-96636", date(2026, 10, 16), "pixel limit passed by in files of several pictures"),
    ("weasyprint", "70.0", "CVE-2026-55073", date(2026, 9, 8), "own fetcher left out, EPS pictures rendered"),
    ("werkzeug", "3.1.6", "GHSA-29vq-49wr-vm6x", date(2026, 2, 19), "device names in joined paths on Windows"),
    ("flask", "3.1.3", "GHSA-68rp-wp8r-4726", date(2026, 2, 18), "session used without telling caches"),
    ("jinja2", "3.1.6", "GHSA-cpwx-vrp4-4pq7", date(2025, 3, 5), "a filter that reaches out of the sandbox"),
]
