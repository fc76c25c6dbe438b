"""What no screen says: a record is no promise (a rule of this bench; common practice, no source)."""

import re

PROMISES = re.compile(r"\b(safe|safely|ok|okay|ready)\b", re.IGNORECASE)
TAGS = re.compile(r"{#.*?#}|{%.*?%}|{{.*?}}|<[^>]+>", re.DOTALL)


def test_no_screen_promises_that_something_is_safe_or_ready(project_root):
    found = [
        f"{path.name}: {match[0]}"
        for path in sorted((project_root / "templates" / "screen").glob("*.html"))
        for match in PROMISES.finditer(TAGS.sub(" ", path.read_text(encoding="utf-8")))
    ]
    assert found == []


def test_a_promise_would_be_found():
    assert PROMISES.search(TAGS.sub(" ", "<p>The rollers are ready to run.</p>"))
