"""A moving view: from place to place and back, refused where it says nothing."""

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image, ImageSequence

from logbook.command_line.view import view
from logbook.engine.interlace import interlace
from logbook.engine.plan import make_plan
from logbook.lengths import parse_length
from logbook.refusals import Refused

RED, BLUE = (250, 10, 10), (10, 10, 250)


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A print of a red and a blue picture with a little drawing, so that no two frames are alike."""
    folder = tmp_path_factory.mktemp("moving")
    for name, colour in (("1.png", RED), ("2.png", BLUE)):
        image = Image.new("RGB", (64, 48), colour)
        image.putpixel((10, 10), (255, 255, 255))
        image.save(folder / name)
    plan = make_plan(lpi="20", dpi="600", width=parse_length("2in"), height=parse_length("1in"), flip="left-right",
                     pictures=2)
    interlace(plan, [folder / "1.png", folder / "2.png"], folder / "out.tif")
    return folder


def _view(folder, *words):
    answer = CliRunner().invoke(view, [str(folder / "out.tif"), "--lpi", "20", *words])
    if answer.exception and not isinstance(answer.exception, SystemExit):
        raise answer.exception
    return answer


def _frames(path):
    with Image.open(path) as image:
        return [np.asarray(frame.convert("RGB")) for frame in ImageSequence.Iterator(image)]


def test_it_goes_from_picture_one_to_the_last_and_back(made):
    out = made / "there.gif"
    _view(made, "--from", "-1..1", "--steps", "6", "--out", str(out))
    frames = _frames(out)
    means = [frame[4:-4, 4:-4, :3].reshape(-1, 3).mean(axis=0) for frame in frames]
    assert np.abs(means[0] - RED).max() < 12
    assert max(mean[2] for mean in means) > 235
    # there and back is one way only of N strips: red falls and rises again
    turn = int(np.argmin([mean[0] for mean in means]))
    assert 0 < turn <= len(means)
    with Image.open(out) as image:
        assert max(image.size) == 480
        assert image.info["loop"] == 0
        total = 0
        for number in range(image.n_frames):
            image.seek(number)
            total += image.info["duration"]
    # two ends of 600 ms and four steps of 70 ms each way, whatever frames were alike
    assert total == 2 * 600 + 2 * 4 * 70


def test_the_other_way_round_begins_at_the_last_picture(made):
    _view(made, "--from", "1..-1", "--out", str(made / "back.gif"), "--long-side", "120")
    frames = _frames(made / "back.gif")
    assert np.abs(frames[0][4:-4, 4:-4, :3].reshape(-1, 3).mean(axis=0) - BLUE).max() < 12
    assert max(frames[0].shape[:2]) == 120


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--from", "0"], "from one place to another"),
        (["--distance", "600mm"], "from place to place"),
        (["--from", "-1..2"], "between -1"),
        (["--from", "-1..x"], "not a number"),
    ],
)
def test_what_is_no_way_is_refused_and_leaves_nothing(made, words, sentence):
    with pytest.raises(Refused, match=sentence):
        _view(made, *words, "--out", str(made / "no.gif"))
    assert not (made / "no.gif").exists()


def test_a_way_needs_a_moving_picture(made):
    with pytest.raises(Refused, match="not a number"):
        _view(made, "--from", "-1..1", "--out", str(made / "no.png"))
