"""The VIN by bar code: published VINs, encoded by other libraries, photographed askew."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
import pytest
from PIL import Image, ImageFilter

from fieldnote.web.bar_codes import judged, parted, vins_of
from fieldnote.web.photo_check import read
from tests.web.conftest import House

PUBLISHED = {
    "1G4AH59H45G118341": "sample calculation of the rule itself (49 CFR 565)",
    "1J9RP1A36A1644345": "NHTSA, outline for new manufacturers",
    "1M8GDM9AXKP042788": "worked example in an open textbook (Wikibooks)",
    "11111111111111111": "straight ones, the usual check of a check",
    "JH2RC3605MM101581": "teaching pages on the calculation",
}
"""VINs with right check digits, and where they were published."""
WRONG = {"SGZCZ43D13S812715": "X", "1M8GDM9AYKP042788": "X"}
"""Printed as examples that must fail; the digit that would be right."""


def code39(text: str) -> Image.Image:
    barcode = pytest.importorskip("barcode", reason="pip install python-barcode")
    from barcode.writer import ImageWriter

    made: Image.Image = barcode.Code39(text, ImageWriter(), add_checksum=False).render({"write_text": False})
    return made


def code128(text: str) -> Image.Image:
    barcode = pytest.importorskip("barcode", reason="pip install python-barcode")
    from barcode.writer import ImageWriter

    made: Image.Image = barcode.Code128(text, ImageWriter()).render({"write_text": False})
    return made


def qr(text: str) -> Image.Image:
    segno = pytest.importorskip("segno", reason="pip install segno")
    out = io.BytesIO()
    segno.make_qr(text).save(out, kind="png", scale=8)
    return Image.open(out)


def data_matrix(text: str) -> Image.Image:
    import zxingcpp

    made = zxingcpp.create_barcode(text, zxingcpp.DataMatrix)
    return Image.fromarray(np.array(zxingcpp.write_barcode_to_image(made, scale=8)))


MAKERS = {"Code 39": code39, "Code 128": code128, "QR": qr, "Data Matrix": data_matrix}


def photographed(label: Image.Image) -> bytes:
    """A label on a grey pillar, held a little askew, out of focus and noisy, as a JPEG."""
    ground = Image.new("L", (label.width + 400, label.height + 400), 150)
    ground.paste(label.convert("L"), (200, 200))
    turned = ground.rotate(4, expand=True, fillcolor=140, resample=Image.Resampling.BICUBIC)
    noisy = np.asarray(turned.filter(ImageFilter.GaussianBlur(1.0))) + np.random.default_rng(7).normal(
        0, 8, turned.size[::-1]
    )
    out = io.BytesIO()
    Image.fromarray(np.clip(noisy, 0, 255).astype(np.uint8)).convert("RGB").save(out, "JPEG", quality=80)
    return out.getvalue()


@pytest.mark.parametrize("kind", MAKERS)
def test_a_photographed_label_gives_the_vin(tmp_path: Any, kind: str) -> None:
    """Each kind of code, made by another library where there is one, read from a poor picture."""
    vin = "1M8GDM9AXKP042788"
    (tmp_path / "photo.jpg").write_bytes(photographed(MAKERS[kind](vin)))
    (found,) = vins_of((k, t) for k, t in read(tmp_path / "photo.jpg")["codes"])
    assert (found.vin, found.holds, found.digit) == (vin, True, "X")


@pytest.mark.parametrize("turned", [0, 90, 180, 270])
def test_a_label_may_stand_on_its_head(tmp_path: Any, turned: int) -> None:
    """The phone is held as it comes."""
    code39("1G4AH59H45G118341").rotate(turned, expand=True).convert("RGB").save(tmp_path / "photo.jpg", "JPEG")
    assert [found.vin for found in vins_of(read(tmp_path / "photo.jpg")["codes"])] == ["1G4AH59H45G118341"]


@pytest.mark.parametrize("vin", PUBLISHED, ids=PUBLISHED.get)
def test_a_published_vin_holds(vin: str) -> None:
    """The check digit of each is right (49 CFR 565.15)."""
    assert judged(vin, "").holds


@pytest.mark.parametrize(("vin", "digit"), WRONG.items())
def test_a_wrong_check_digit_is_told(vin: str, digit: str) -> None:
    """With the digit that would be right."""
    found = judged(vin, "")
    assert not found.holds and found.digit == digit


@pytest.mark.parametrize(
    ("text", "vins"),
    [
        ("I1M8GDM9AXKP042788", ["1M8GDM9AXKP042788"]),
        ("*1M8GDM9AXKP042788*", ["1M8GDM9AXKP042788"]),
        ("1m8gdm9axkp042788", ["1M8GDM9AXKP042788"]),
        ("VIN:1M8GDM9AXKP042788;PAINT:A1", ["1M8GDM9AXKP042788"]),
        ("1M8GDM9AYKP042788,1M8GDM9AXKP042788", ["1M8GDM9AXKP042788", "1M8GDM9AYKP042788"]),
        ("1M8GDM9AXKP0427881", []),
        ("1M8GDM9AXKP04278", []),
        ("1M8GDM9AXKPO42788", []),
        ("https://shop.example/1234", []),
    ],
    ids=["import", "stars", "lower case", "among others", "best first", "18", "16", "an O", "a link"],
)
def test_what_codes_say(text: str, vins: list[str]) -> None:
    """17 characters without I, O and Q that stand by themselves; the "I" of imports is no part of them."""
    assert [found.vin for found in vins_of([("Code39", text)])] == vins


def test_a_vin_is_shown_in_groups() -> None:
    """As it is compared with a label."""
    assert parted("1M8GDM9AXKP042788") == ("1M8", "GDM", "9AXK", "P042", "788")
    assert parted("1M8") == ("1M8",)


def test_a_bar_code_is_read_shown_and_kept(house: House) -> None:
    """The picture is not kept; the VIN only with the next touch."""
    job = house.job("Unit 7")
    files = {"photo": ("label.jpg", photographed(code39("I1M8GDM9AXKP042788")), "image/jpeg")}
    answer = house.client.post(f"/jobs/{job.id}/vin/photos", data={"token": house.token()}, files=files)
    assert answer.status_code == 200
    assert "Check digit X is right" in answer.text and 'value="1M8GDM9AXKP042788"' in answer.text
    assert house.job("Unit 7").intake.vin is None and house.job("Unit 7").photos == ()
    house.send(f"/jobs/{job.id}/vin", vin="1M8GDM9AXKP042788", sure="1M8GDM9AXKP042788")
    assert house.job("Unit 7").intake.vin == "1M8GDM9AXKP042788"
    assert "1M8" in house.client.get(f"/jobs/{job.id}/vin").text


def test_a_picture_without_a_code_says_what_to_do(house: House) -> None:
    """Held closer, level, without glare."""
    out = io.BytesIO()
    Image.new("RGB", (300, 200), "grey").save(out, "JPEG")
    files = {"photo": ("label.jpg", out.getvalue(), "image/jpeg")}
    path = f"/jobs/{house.job().id}/vin/photos"
    answer = house.client.post(path, data={"token": house.token()}, files=files)
    assert answer.status_code == 422 and "No VIN was found" in answer.text


def test_a_typed_vin_with_a_wrong_digit_is_asked_about(house: House) -> None:
    """It is kept when it is meant: European and Asian VINs need no check digit. Spaces and hyphens fall away."""
    job = house.job("Unit 7")
    asked = house.client.post(f"/jobs/{job.id}/vin", data={"token": house.token(), "vin": "1m8 gdm9-aykp 042788"})
    assert "The check digit would be X, not Y" in asked.text
    assert house.job("Unit 7").intake.vin is None
    house.send(f"/jobs/{job.id}/vin", vin="1M8GDM9AYKP042788", sure="1M8GDM9AYKP042788")
    assert house.job("Unit 7").intake.vin == "1M8GDM9AYKP042788"
