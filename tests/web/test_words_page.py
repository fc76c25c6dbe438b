"""The page of words: each once, by the alphabet; what the pages link to is there."""

import re
from pathlib import Path


def test_every_word_stands_once_by_the_alphabet_and_every_link_to_one_arrives(desk, project_root: Path):
    page = desk.get("/words").get_data(as_text=True)
    found = re.findall(r'<dt id="([^"]+)">([^<]+)</dt><dd>[^<]{20,}</dd>', page)
    assert len(found) == page.count("<dt") >= 30
    keys, words = [key for key, _ in found], [word for _, word in found]
    assert len(set(keys)) == len(keys)
    plain = [re.sub(r"^Δ", "d", word).lower() for word in words[:-1]]  # a sign without a letter comes last
    assert plain == sorted(plain)
    linked = {
        part
        for path in (project_root / "templates" / "screen").glob("*.html")
        for part in re.findall(r"url_for\('words.listing'\) }}#([\w-]+)", path.read_text(encoding="utf-8"))
    }
    assert linked
    assert linked <= set(keys)


def test_pages_lead_there(desk, office):
    assert '<a href="/words">Words</a>' in desk.get("/").get_data(as_text=True)
    code = office.ready()
    assert '<a href="/words">Words</a>' in desk.get(f"/job/{code}").get_data(as_text=True)
