"""Which pitch produced which print, from any end; and whether what is kept is still what it was."""

import json
from decimal import Decimal
from io import BytesIO

import pytest
from PIL import Image

from logbook.actions import (
    materials,
    outputs,
    pictures,
    pitch,
    pitchcharts,
    pitchchoices,
    pitchreadings,
    trace,
    verifying,
)
from logbook.lengths import parse_length
from logbook.records.files import keep
from logbook.records.floor import Run
from logbook.records.materials import Lot, Material
from logbook.records.orders import Job
from logbook.records.pitch import PitchChart, PitchOnRecord, PitchTest
from logbook.refusals import Refused
from support.shop_walk import PHOTOGRAPHS
from support.small_shop import CUSTOMER, job, one, prints
from support.tampering import spoil

pytestmark = pytest.mark.both_databases


@pytest.fixture
def printed(shop):
    """A job whose sheet stands before the printer."""
    return shop.ready()


def _find(shop, words, **more):
    found = shop.read(lambda session: trace.find(session, str(words), **more))
    assert json.loads(json.dumps(found)) == found, "it turns into JSON as it stands"
    return found


def test_a_sheet_and_its_code_lead_to_their_prints(shop, printed):
    sheet = shop.read(
        lambda session: (prints(session, printed)[0].sheet.number, prints(session, printed)[0].sheet.code)
    )
    serial = shop.read(lambda session: prints(session, printed)[0].serial)
    for words in (*sheet, f"  {sheet[1].lower()} "):
        assert [told["print"]["serial"] for told in _find(shop, words)["prints"]] == [serial]


def test_nothing_of_that_name_is_one_sentence(shop, printed, tmp_path):
    (tmp_path / "note.txt").write_text("20.07 lines per inch")
    assert printed
    for words in ("26-0001-A9", "", "0" * 64, "%", "' OR 1=1 --", tmp_path / "note.txt", tmp_path / "away.tif"):
        with pytest.raises(Refused):
            _find(shop, words)


def test_words_from_afar_never_open_a_file_of_this_machine(shop, printed):
    kept = shop.read(lambda session: one(session, Run).output.sha256)
    path = shop.shop.store.path(kept)
    assert _find(shop, path)["file"]["same_bytes"] is True
    assert printed
    with pytest.raises(Refused, match="Nothing here is called"):
        _find(shop, path, files=False)


def test_an_interlaced_file_under_another_name_is_known_by_its_bytes(shop, printed, tmp_path):
    run = shop.read(lambda session: one(session, Run))
    found = tmp_path / "holiday.bin"
    found.write_bytes(shop.shop.store.path(shop.read(lambda session: one(session, Run).output.sha256)).read_bytes())
    told = _find(shop, found)
    assert (told["run"]["code"], told["file"]["same_bytes"]) == (run.code, True)
    assert told["prints"][0]["job"] == shop.read(lambda session: job(session, printed).number)


def test_a_test_and_its_chart_lead_to_the_pitch_and_the_print(shop):
    def start(session, by):
        known = one(session, PitchOnRecord, origin="carried over")
        return pitchcharts.start_test(session, by, conditions=pitch.conditions_of(known)).id

    test_id = shop.act(start)
    wish = pitchcharts.ChartWish(Decimal(20), Decimal("0.1"), 11, parse_length("4in"))
    drawn = shop.read(
        lambda session: pitchcharts.draw_chart(shop.shop.store, session.get_one(PitchTest, test_id), wish)
    )
    shop.act(
        lambda session, by: pitchcharts.keep_chart(session, by, test=session.get_one(PitchTest, test_id), drawn=drawn)
    )
    # 0.1 lines per inch further is 0.4 fringes more on 4 in, told to a quarter
    shop.act(
        lambda session, by: pitchreadings.record_readings(
            session, by, made=one(session, PitchChart), counts={5: "0.75", 6: "0.5", 7: "0", 8: "0.5", 9: "0.75"}
        )
    )
    shop.act(lambda session, by: pitchreadings.accept_result(session, by, test=one(session, PitchTest)))
    code = shop.order(customer="")
    shop.act(
        lambda session, by: pitchchoices.choose(
            session, by, job=job(session, code), pitch=one(session, PitchOnRecord, origin="test"), reason="as measured"
        )
    )
    shop.run(code)
    serial = shop.read(lambda session: prints(session, code)[0].serial)
    forwards = _find(shop, serial)
    assert [row["band"] for row in forwards["pitch"]["test"]["charts"][0]["readings"]] == [5, 6, 7, 8, 9]
    assert forwards["pitch"]["test"]["charts"][0]["file_sha256"] == drawn.stored[0]
    for words in (forwards["pitch"]["test"]["code"], forwards["pitch"]["code"], drawn.stored[0]):
        assert [piece["serial"] for piece in _find(shop, words)["prints"]] == [serial], words


def test_pictures_proofs_and_their_previews_lead_to_the_print(shop, printed):
    def hashes(session):
        found = job(session, printed)
        files = [*found.pictures, *found.proofs]
        return [row.file.sha256 if hasattr(row, "file") else row.animation.sha256 for row in files] + [
            found.pictures[0].preview.sha256
        ]

    serial = shop.read(lambda session: prints(session, printed)[0].serial)
    for sha256 in shop.read(hashes):
        assert [piece["serial"] for piece in _find(shop, sha256)["prints"]] == [serial]


def test_a_dropped_file_that_turns_up_again_is_still_known(shop, printed, tmp_path):
    shop.mount(printed)
    shop.inspect(printed)
    shop.leave(printed)
    dropped = shop.act(lambda session, by: outputs.drop(session, by, run=one(session, Run)))
    found = tmp_path / "from a stick.tif"
    found.write_bytes(shop.shop.store.path(dropped).read_bytes())
    shop.shop.store.drop(dropped)
    assert _find(shop, found)["prints"][0]["stage"] == "gone"
    assert _verify(shop)["sound"], "what was dropped on purpose is not missing"
    with pytest.raises(Refused, match="make it anew first"):
        shop.act(
            lambda session, by: outputs.hand_over(session, by, shop.shop.store, one(session, Run), tmp_path, "label")
        )


# --- verifying


def _verify(shop):
    return verifying.verify(shop.shop.database, shop.shop.store)


def test_a_sound_shop_says_how_much_was_looked_at(shop, printed):
    assert printed
    found = _verify(shop)
    assert found["sound"] is True
    assert found["files"] == len(shop.shop.store.hashes())
    assert found["head"] in found["sentence"]


@pytest.mark.parametrize("change", ["one bit", "empty", "longer"])
def test_a_changed_kept_file_is_named(shop, printed, change):
    kept = shop.read(lambda session: one(session, Job, code=printed).pictures[1].file.sha256)
    path = shop.shop.store.path(kept)
    data = bytearray(path.read_bytes())
    data[1000] ^= 1
    path.write_bytes({"one bit": bytes(data), "empty": b"", "longer": path.read_bytes() + b" "}[change])
    found = _verify(shop)
    assert found["sound"] is False
    assert found["sentence"] == f"The file {kept} (image/jpeg) has changed."


def test_a_missing_kept_file_is_named(shop, printed):
    kept = shop.read(lambda session: one(session, Job, code=printed).pictures[0].file.sha256)
    shop.shop.store.path(kept).unlink()
    assert _verify(shop)["sentence"] == f"The file {kept} (image/jpeg) is missing."


def test_a_changed_entry_of_the_trail_is_named(shop, printed):
    assert printed
    moved = "UPDATE audit_entry SET body = replace(body, 'order placed', 'order moved') WHERE id > 5"
    spoil(shop.shop.database, moved)
    assert "its content does not match its hash" in _verify(shop)["sentence"]


def _turned(path):
    """The same photograph upside down: other bytes, another picture."""
    with Image.open(path) as picture:
        out = BytesIO()
        picture.transpose(Image.Transpose.ROTATE_180).save(out, "JPEG")
    return out.getvalue()


def test_a_picture_leads_only_to_prints_that_were_interlaced_from_it(shop, tmp_path):
    code = shop.order(customer="", files=PHOTOGRAPHS[:2])
    (tmp_path / "better.jpg").write_bytes(_turned(PHOTOGRAPHS[0]))
    first, second = shop.read(lambda session: [picture.file.sha256 for picture in pictures.current(job(session, code))])
    shop.act(lambda session, by: pictures.remove_picture(session, by, picture=pictures.current(job(session, code))[0]))
    shop.add_pictures(code, [tmp_path / "better.jpg"])
    shop.choose_pitch(code)
    shop.run(code)
    serial = shop.read(lambda session: prints(session, code)[0].serial)
    assert _find(shop, first)["prints"] == []
    assert [piece["serial"] for piece in _find(shop, second)["prints"]] == [serial]


def test_a_label_that_two_lots_share_asks_for_the_code(shop, printed):
    shop.sign(printed, "print")
    def another(session, by):
        materials.add_lot(session, by, material=one(session, Material, name="film"), label="P-1")

    shop.act(another)
    with pytest.raises(Refused, match=r"Several are called 'P-1'.*\(film\)"):
        _find(shop, "P-1")
    code = shop.read(lambda session: one(session, Lot, label="P-1", material=one(session, Material, name="paper")).code)
    assert [piece["job"] for piece in _find(shop, code)["prints"]] == [
        shop.read(lambda session: job(session, printed).number)
    ]


# --- what people have at hand: a short hash from a paper, a job, an order, a name, small letters


def test_what_people_have_at_hand_leads_to_the_prints(shop):
    code = shop.ready(quantity=2)
    with shop.shop.database.reading() as session:
        made = job(session, code)
        serials = [piece.serial for piece in prints(session, code)]
        short = prints(session, code)[0].sheet.run.output.sha256[:8]
        for words in (made.number, made.number.lower(), made.order.number, CUSTOMER, CUSTOMER.upper(), short):
            assert [line["serial"] for line in trace.find(session, words)["prints"]] == serials, words
        assert trace.find(session, serials[0].lower())["print"]["serial"] == serials[0]
        assert trace.find(session, short.upper())["file"]["sha256"].startswith(short)


def test_a_short_hash_that_two_files_share_is_not_guessed(shop):
    code = shop.ready()

    def twins(session, by):
        one_file = prints(session, code)[0].sheet.run.output
        for ending in "01":
            keep(session, sha256="abcdef" + ending * 58, size=1, media_type="x", kind="record", now=by.now)
        return one_file.sha256

    shop.act(twins)
    with shop.shop.database.reading() as session, pytest.raises(Refused, match="Several files begin with 'abcdef'"):
        trace.find(session, "abcdef")
