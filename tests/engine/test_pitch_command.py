"""``logbook pitch`` as outside scripts call it."""

import json
import subprocess
import sys
from fractions import Fraction

import pypdfium2
import pytest
import tifffile


@pytest.fixture
def logbook(tmp_path):
    def call(*words):
        return subprocess.run([sys.executable, "-m", "logbook", *words], cwd=tmp_path, capture_output=True, text=True,
                              check=False)

    return call


SMALL = ("--lpi", "19.9", "--step", "0.1", "--bands", "3", "--dpi", "300", "--width", "2in", "--band-height", "3mm")


def test_a_chart_is_a_tiff_with_its_description_beside_it(logbook, tmp_path):
    ran = logbook("pitch", "chart", "OUT.tif", *SMALL, "--gap", "1mm", "--flip", "left-right", "--json")
    assert (ran.returncode, ran.stderr) == (0, "")
    described = json.loads((tmp_path / "OUT.json").read_text())
    assert json.loads(ran.stdout) == described
    assert [band["lpi"] for band in described["bands"]] == [19.8, 19.9, 20]
    with tifffile.TiffFile(tmp_path / "OUT.tif") as file:
        page = file.pages[0]
        assert Fraction(*page.tags[282].value) == 300
        left, top, right, _bottom = described["bands"][0]["box_dots"]
        row = page.asarray()[top, left:right]
    exact = [0 if ((i + Fraction(1, 2)) * Fraction("19.8") / 300) % 1 < Fraction(1, 2) else 255 for i in range(600)]
    assert row.tolist() == exact
    assert sorted(path.name for path in tmp_path.iterdir()) == ["OUT.json", "OUT.tif"]


def test_a_chart_has_a_length_that_fits_a4_and_letter_unless_told_otherwise(logbook, tmp_path):
    # Source: ISO 216 (A4 is 210 mm wide); Letter is 8.5 in. 190 mm leaves both margins.
    ran = logbook("pitch", "chart", "a.tif", "--lpi", "20", "--step", "0.1", "--bands", "2", "--dpi", "100",
                  "--reversed")
    assert (ran.returncode, ran.stdout) == (0, "")
    described = json.loads((tmp_path / "a.json").read_text())
    assert described["lens_box_dots"][2] == 748  # floor(190/25.4·100 + 1/2)
    assert described["reversed"] is True


@pytest.mark.parametrize(("extra", "about"), [
    (("--lpi", "0"), "lpi"), (("--lpi", "twenty"), "lpi"), (("--step", "0.000001"), "step"),
    (("--width", "8"), "width"), (("--width", "-8in"), "width"), (("--width", "2furlong"), "unit"),
    (("--dpi", "30"), "dpi"), (("--bands", "1"), "bands"), (("--bands", "x"), "bands"), (("--gap", "0mm"), "gap"),
    (("--flip", "round"), "flip"), (("--band-height", "1"), "band")])
def test_a_chart_that_cannot_be_gets_one_sentence_and_leaves_nothing_behind(logbook, tmp_path, extra, about):
    (tmp_path / "OUT.tif").write_bytes(b"kept")
    ran = logbook("pitch", "chart", "OUT.tif", *SMALL, *extra)
    assert (ran.returncode, ran.stdout) == (2, "")
    assert ran.stderr.count("\n") == 1
    assert about in ran.stderr.lower()
    assert [(path.name, path.read_bytes()) for path in tmp_path.iterdir()] == [("OUT.tif", b"kept")]


@pytest.mark.parametrize("name", ["OUT.png", "OUT", "none/OUT.tif"])
def test_a_place_where_no_chart_can_stand_is_refused(logbook, tmp_path, name):
    ran = logbook("pitch", "chart", name, *SMALL)
    assert (ran.returncode, ran.stderr.count("\n")) == (2, 1)
    assert list(tmp_path.iterdir()) == []


def test_a_folder_in_the_place_of_the_description_leaves_nothing_behind(logbook, tmp_path):
    (tmp_path / "OUT.json" / "full").mkdir(parents=True)
    ran = logbook("pitch", "chart", "OUT.tif", *SMALL)
    assert (ran.returncode, ran.stderr.count("\n")) == (2, 1)
    assert [path.name for path in tmp_path.iterdir()] == ["OUT.json"]


def test_readings_give_a_pitch_its_uncertainty_and_the_next_chart(logbook, tmp_path):
    rows = [f"{19.4 + 0.1 * b:.1f},{round(4 * abs(19.4 + 0.1 * b - 20.0557) * 8) / 4},Ida" for b in range(11)]
    (tmp_path / "r.csv").write_text("lpi,fringes,reader\n" + "\n".join(rows) + "\n")
    ran = logbook("pitch", "fit", "r.csv", "--width", "8in", "--json")
    assert (ran.returncode, ran.stderr) == (0, "")
    fit = json.loads(ran.stdout)
    assert fit["lpi"] == pytest.approx(20.0557, abs=0.007)
    assert 0.005 < fit["u_lpi"] < 0.008
    assert fit["next"] == {"centre_lpi": pytest.approx(20.06, abs=0.011), "step_lpi": 0.01, "bands": 21}
    told = logbook("pitch", "fit", "r.csv", "--width", "203.2mm").stdout
    assert told.startswith(f"{fit['lpi']:.4f} ± ")


def test_a_next_chart_is_told_in_the_words_of_the_chart_command(logbook, tmp_path):
    (tmp_path / "r.csv").write_text("lpi,fringes\n19.9,1.25\n20.0,0.5\n20.1,0.25\n20.2,1.25\n")
    told = logbook("pitch", "fit", "r.csv", "--width", "8in").stdout
    assert "next chart: --lpi 20.06 --step 0.01 --bands 21" in told
    (tmp_path / "r.csv").write_text("lpi,fringes\n19.8,2\n19.9,1.25\n20.0,0.5\n")
    told = logbook("pitch", "fit", "r.csv", "--width", "8in").stdout
    assert "outside the tested" in told
    assert "next chart: --lpi 20.1 --step 0.1 --bands 11" in told


@pytest.mark.parametrize(("content", "width"), [
    ("lpi,fringes\n20,1\n", "8in"), ("lpi,fringes\n19.9,5\n20,0\n20.1,6\n", "8in"), ("", "8in"), ("a,b\n", "8in"),
    ("lpi,fringes\n19.9,1\n20,-1\n", "8in"), ("lpi,fringes\n19.9,1\n20,1.75\n", "8"), ("\x00\x01", "8in")])
def test_readings_that_fit_nothing_get_one_sentence(logbook, tmp_path, content, width):
    (tmp_path / "r.csv").write_text(content)
    ran = logbook("pitch", "fit", "r.csv", "--width", width, "--json")
    assert (ran.returncode, ran.stdout, ran.stderr.count("\n")) == (2, "", 1)


def test_readings_that_are_no_text_get_one_sentence(logbook, tmp_path):
    (tmp_path / "r.csv").write_bytes(b"\xff\xfe\x00lpi")
    for name in ("r.csv", "missing.csv", "."):
        ran = logbook("pitch", "fit", name, "--width", "8in")
        assert (ran.returncode, ran.stdout, ran.stderr.count("\n")) == (2, "", 1)


AT = ("pitch", "at", "--from-distance", "600mm", "--to-distance", "2m", "--thickness", "3mm", "--index", "1.56")


def test_a_pitch_is_carried_to_another_distance(logbook):
    facts = json.loads(logbook(*AT, "--lpi", "20.0557", "--u-lpi", "0.006", "--width", "8in", "--json").stdout)
    # 20.12 lines per inch, 3 mm thick, n 1.56: 20.0557 from 600 mm and 20.12/(1 + 3/(1.56·2000)) = 20.10067 from 2 m;
    # the whole ridge gathers 0.95 ± 0.04 of the difference.
    assert facts["lpi"] == pytest.approx(20.10067, abs=0.004)
    assert facts["u_lpi"] > 0.006
    assert facts["u_lpi"] == pytest.approx(sum(part**2 for part in facts["u_parts_lpi"].values()) ** 0.5, rel=1e-3)
    assert facts["correction_lenticules"] == pytest.approx(8 * 0.045, abs=0.03)


def test_without_a_pitch_the_factor_alone_is_told(logbook):
    facts = json.loads(logbook(*AT, "--from-mount", "mounted", "--json").stdout)
    reduced = 3 / 1.56 + 0.05 / 1.47  # the lens and the shop's default of adhesive
    change = (1 + reduced / 600) / (1 + reduced / 2000) - 1
    assert facts["factor"] == pytest.approx(1 + 0.95 * change, abs=1e-8)
    assert logbook(*AT).stdout.startswith("factor: ")


@pytest.mark.parametrize("extra", [
    ("--to-distance", "2"), ("--to-distance", "0m"), ("--thickness", "-3mm"), ("--index", "0.5"), ("--index", "nan"),
    ("--lpi", "-20"), ("--lpi", "20", "--u-lpi", "nan"), ("--from-mount", "glued"), ("--lpi", "20", "--width", "8")])
def test_a_conversion_that_cannot_be_gets_one_sentence(logbook, extra):
    ran = logbook(*AT, "--json", *extra)
    assert (ran.returncode, ran.stdout, ran.stderr.count("\n")) == (2, "", 1)


def test_a_chart_on_paper_is_a_pdf_with_all_pages_described(logbook, tmp_path):
    wanted = ("--lpi", "19.9", "--step", "0.1", "--bands", "21", "--dpi", "150")
    ran = logbook("pitch", "chart", "OUT.pdf", *wanted, "--paper", "a4", "--margin", "8mm", "--json")
    assert (ran.returncode, ran.stderr) == (0, "")
    described = json.loads(ran.stdout)["pages"]
    assert [band["number"] for page in described for band in page["bands"]] == list(range(1, 22))
    document = pypdfium2.PdfDocument(tmp_path / "OUT.pdf")
    assert len(document) == len(described) == 2
    assert document.get_page_size(0) == pytest.approx((210 / 25.4 * 72, 297 / 25.4 * 72), abs=1e-3)  # ISO 216
    document.close()


def test_a_chart_without_paper_may_be_a_pdf_of_its_own_size(logbook, tmp_path):
    assert logbook("pitch", "chart", "OUT.pdf", *SMALL).returncode == 0
    described = json.loads((tmp_path / "OUT.json").read_text())
    document = pypdfium2.PdfDocument(tmp_path / "OUT.pdf")
    assert document.get_page_size(0) == pytest.approx([side / 300 * 72 for side in described["size_dots"]], abs=1e-3)
    document.close()


@pytest.mark.parametrize("extra", [
    ("OUT.tif", "--paper", "a4"), ("OUT.pdf", "--paper", "a99"), ("OUT.pdf", "--paper", "a4", "--margin", "150mm"),
    ("OUT.pdf", "--paper", "a4", "--margin", "-5mm"), ("OUT.pdf", "--paper", "a4", "--width", "2m")])
def test_pages_that_cannot_be_get_one_sentence_and_leave_nothing_behind(logbook, tmp_path, extra):
    ran = logbook("pitch", "chart", *SMALL, *extra)
    assert (ran.returncode, ran.stdout, ran.stderr.count("\n")) == (2, "", 1)
    assert list(tmp_path.iterdir()) == []


def test_a_sliding_band_is_written_with_its_scale(logbook, tmp_path):
    ran = logbook("pitch", "sliding", "OUT.tif", "--lpi", "20", "--dpi", "300", "--width", "8in", "--json")
    assert (ran.returncode, ran.stderr) == (0, "")
    described = json.loads(ran.stdout)
    assert {"lpi": 20, "dot": 1200} in described["scale"]
    with tifffile.TiffFile(tmp_path / "OUT.tif") as file:
        assert list(file.pages[0].shape) == described["size_dots"][::-1]


def test_a_sliding_band_that_cannot_be_gets_one_sentence(logbook, tmp_path):
    ran = logbook("pitch", "sliding", "OUT.tif", "--lpi", "20", "--dpi", "300", "--width", "8in", "--slope", "9")
    assert (ran.returncode, ran.stdout, ran.stderr.count("\n")) == (2, "", 1)
    assert list(tmp_path.iterdir()) == []
