"""What a job is called after its pictures; camera numbering as cameras and telephones write it: common practice."""

import pytest

from logbook.rules.naming import name_from_files


@pytest.mark.parametrize(
    ("files", "name"),
    [
        (["lighthouse-day.jpg", "lighthouse-night.jpg"], "Lighthouse"),
        (["harbour_01.tif", "harbour_02.tif", "harbour_03.tif"], "Harbour"),
        (["Old Mill Hotel (1).png", "Old Mill Hotel (2).png"], "Old Mill Hotel"),
        (["kitehigh.jpg", "kitelow.jpg"], "Kitehigh"),
        (["gull left.jpg", "gull right.jpg"], "Gull"),
        (["china.jpg", "flower.jpg"], "China"),
        (["china.jpg"], "China"),
        (["IMG_2041.JPG", "IMG_2042.JPG"], ""),
        (["DSC01234.jpg", "harbour.jpg"], ""),
        (["PXL_20260211_101500.jpg", "PXL_20260211_101507.jpg"], ""),
        (["IMG-20260211-WA0004.jpg"], ""),
        (["Photo 3.png", "ab.png"], ""),
        (["école, été.png"], "École été"),
        ([".jpg"], "Jpg"),
        ([], ""),
    ],
)
def test_a_name_is_what_people_wrote_and_not_what_a_camera_did(files, name):
    assert name_from_files(files) == name
