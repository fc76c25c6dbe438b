"""Paper: a plain dataclass becomes HTML, and the same HTML becomes PDF bytes.

Knows no request, no session and no table; the PDF writer can read no file and
no network beyond what it is handed.
"""
