"""The shelf: the shop's own versions win and a broken one takes no caution away."""

import shutil

import pytest

from logbook import resources
from logbook.paper.shelf import load_toml, read_cards, read_shelf
from logbook.refusals import Refused


@pytest.fixture
def own(tmp_path):
    (tmp_path / "cards").mkdir()
    return tmp_path


def _copy(own, name, *changes):
    text = (resources.folder("safety") / name).read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    (own / name).write_text(text, encoding="utf-8")


def test_an_empty_folder_of_the_shop_changes_nothing(own):
    assert read_shelf(own) == read_shelf()


def test_the_shops_own_card_wins(own):
    _copy(own, "cards/C10.toml", ('version = "1"', 'version = "1a"\nbased_on = "1"'))
    shelf = read_shelf(own)
    assert shelf.cards["C10"].version == "1a"
    assert shelf.problems == ()
    assert dict(shelf.news) == {}


def test_a_card_based_on_an_older_shipped_version_shows_the_difference(own):
    _copy(own, "cards/C10.toml", ('version = "1"', 'version = "0b"\nbased_on = "0"'),
          ("Bin at the exit side.", "Bin beside the exit."))
    news = read_shelf(own).news["C10"]
    assert any(line.startswith("avoid: shipped Bin at the exit side.") for line in news)


def test_a_card_lowered_without_a_name_leaves_the_shipped_one_in_place(own):
    _copy(own, "cards/C01.toml", ('signal = "WARNING"', 'signal = "NOTICE"'))
    shelf = read_shelf(own)
    assert shelf.cards["C01"].signal == "WARNING"
    assert "needs a name and a reason" in shelf.problems[0]


def test_a_card_lowered_by_name_prints_as_changed(own):
    _copy(own, "cards/C01.toml", ('signal = "WARNING"', 'signal = "CAUTION"'),
          ("[[source]]", '[change]\nby = "A. Owner"\nreason = "guard rebuilt"\n\n[[source]]'))
    assert read_shelf(own).cards["C01"].lowered


def test_a_card_the_shop_adds_hangs_beside_the_others(own):
    shutil.copy(resources.folder("safety") / "cards" / "C10.toml", own / "cards" / "C40.toml")
    text = (own / "cards" / "C40.toml").read_text(encoding="utf-8")
    (own / "cards" / "C40.toml").write_text(text.replace('id = "C10"', 'id = "C40"'), encoding="utf-8")
    shelf = read_shelf(own)
    assert shelf.cards["C40"].id == "C40"
    assert len(shelf.cards) == 22


@pytest.mark.parametrize("name", ["steps.toml", "machine-check.toml", "cards/first-aid.toml", "cards/C01.toml"])
def test_a_file_that_cannot_be_read_leaves_the_shipped_one_in_place(own, name):
    (own / name).write_text("this is no file of ours", encoding="utf-8")
    shelf = read_shelf(own)
    assert (shelf.steps, shelf.machine_check, shelf.first_aid, shelf.cards) == (
        read_shelf().steps, read_shelf().machine_check, read_shelf().first_aid, read_shelf().cards)
    assert name.rpartition("/")[2] in shelf.problems[0]


def test_the_shops_own_step_list_wins(own):
    _copy(own, "steps.toml", (f'revision = "{read_shelf().steps.revision}"', 'revision = "1-own"'))
    assert read_shelf(own).steps.revision == "1-own"


def test_a_card_in_a_file_of_another_name_is_refused(own):
    shutil.copy(resources.folder("safety") / "cards" / "C10.toml", own / "cards" / "C11.toml")
    with pytest.raises(Refused, match=r"name the file C10\.toml"):
        read_cards(own / "cards")


def test_a_missing_file_is_refused_in_a_sentence(tmp_path):
    with pytest.raises(Refused, match=r"gone\.toml cannot be read"):
        load_toml(tmp_path / "gone.toml")


def test_a_drawing_that_does_not_say_it_is_our_own_is_refused(tmp_path, monkeypatch):
    from logbook.paper import shelf
    (tmp_path / "signs").mkdir()
    (tmp_path / "signs" / "W001.svg").write_text("<svg><title>General warning</title></svg>", encoding="utf-8")
    monkeypatch.setattr(shelf.resources, "folder", lambda _: tmp_path)
    with pytest.raises(Refused, match="own drawing"):
        shelf.signs.__wrapped__()
