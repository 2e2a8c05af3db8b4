"""Photos: drawn anew without position, upright, kept by hash, shown at their entry and in the write-up."""

from __future__ import annotations

import hashlib
import io
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path
from typing import Any

import pytest
from PIL import Image, ImageCms

from fieldnote.flow.moving import export_jobs
from fieldnote.records import Photo
from fieldnote.store import Store
from fieldnote.store.backup import back_up
from fieldnote.store.bundles import read_bundle
from fieldnote.store.checking import check
from fieldnote.web import pictures
from fieldnote.web.photo_check import LONGEST_PX, keep
from tests.web.conftest import House

GPS, ORIENTATION, MAKE, MADE_AT = 0x8825, 0x0112, 0x010F, 0x0132
"""Tags of Exif (CIPA DC-008, tables 4 and 15)."""


def taken(size: tuple[int, int] = (640, 480), orientation: int = 1, kind: str = "JPEG", **more: Any) -> bytes:
    """A picture as a phone gives it: red at the upper left, with position, maker, time, a comment and a preview."""
    picture = Image.new("RGB", size, (40, 90, 60))
    picture.paste((220, 30, 30), (0, 0, size[0] // 4, size[1] // 4))
    exif = Image.Exif()
    exif[ORIENTATION] = orientation
    exif[MAKE] = "Somebody"
    exif[MADE_AT] = "2026:11:25 08:00:00"
    exif.get_ifd(GPS).update({1: "N", 2: (51.0, 28.0, 40.1), 3: "W", 4: (0.0, 0.0, 5.3)})
    out = io.BytesIO()
    if kind == "JPEG":
        more = {"comment": b"seen by nobody", "quality": 95} | more
    picture.save(out, kind, exif=exif, **more)
    return out.getvalue()


def send(house: House, data: bytes, entry: str = "", kind: str = "close-up", name: str = "one.jpg") -> Any:
    path = f"/jobs/{house.job().id}/photos"
    fields = {"token": house.token(), "entry": entry, "kind": kind}
    files = {"photo": (name, data, "image/jpeg")}
    return house.client.post(
        path, data=fields, files=files, headers={"accept": "application/json"}, follow_redirects=False
    )


@pytest.fixture
def with_photo(house: House) -> tuple[House, Photo]:
    """The house with one photo at the gasket."""
    entry = next(e.id for e in house.job().entries if e.state == "torn")
    assert send(house, taken(), entry).status_code == 200
    return house, house.job().photos[0]


def test_a_photo_is_kept_without_position_or_notes(with_photo: tuple[House, Photo]) -> None:
    """Read back with Pillow: no GPS, no Exif at all, no comment, no profile; the pixels are there."""
    house, photo = with_photo
    data = (house.rooms.home / photo.path).read_bytes()
    assert b"Somebody" not in data and b"seen by nobody" not in data and b"Exif" not in data
    with Image.open(io.BytesIO(data)) as kept:
        assert kept.format == "JPEG"
        assert dict(kept.getexif()) == {} and kept.getexif().get_ifd(GPS) == {}
        assert set(kept.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density", "progressive", "progression"}
        assert (photo.width, photo.height) == kept.size == (640, 480)
        assert kept.getpixel((10, 10))[0] > 180  # type: ignore[index]
    assert hashlib.sha256(data).hexdigest() == photo.sha256
    with Image.open(io.BytesIO(taken())) as sent:
        assert sent.getexif().get_ifd(GPS)[2] == (51.0, 28.0, 40.1)  # what was sent did have it


@pytest.mark.skipif(shutil.which("exiftool") is None, reason="no exiftool: apt-get install libimage-exiftool-perl")
def test_exiftool_finds_no_position(with_photo: tuple[House, Photo]) -> None:
    """Another program reads no GPS, maker or date of taking out of what is kept."""
    house, photo = with_photo
    path = house.rooms.home / photo.path
    told = subprocess.run(["exiftool", "-a", "-G", str(path)], capture_output=True, text=True, check=True).stdout
    assert "GPS" not in told and "Somebody" not in told and "[EXIF]" not in told


CORNERS = {1: "tl", 2: "tr", 3: "br", 4: "bl", 5: "tl", 6: "tr", 7: "br", 8: "bl"}
"""Where the first pixel of the file is seen, by Exif orientation (CIPA DC-008, 4.6.4 A, orientation)."""


@pytest.mark.parametrize("orientation", sorted(CORNERS))
def test_a_photo_stands_upright(tmp_path: Path, orientation: int) -> None:
    """Turned and mirrored as the tag says, all eight ways; the sides change places from 5 on."""
    (tmp_path / "in").write_bytes(taken((64, 48), orientation))
    told = keep(tmp_path / "in", tmp_path / "out.jpg")
    size = (64, 48) if orientation < 5 else (48, 64)
    assert (told["width"], told["height"]) == size
    with Image.open(tmp_path / "out.jpg") as kept:
        spots = {"tl": (4, 4), "tr": (-5, 4), "bl": (4, -5), "br": (-5, -5)}
        red = {n for n, (x, y) in spots.items() if kept.getpixel((x % kept.width, y % kept.height))[0] > 150}  # type: ignore[index]
    assert red == {CORNERS[orientation]}


def test_a_large_photo_is_made_smaller(tmp_path: Path) -> None:
    """No side is longer than a screen needs; the shape stays."""
    (tmp_path / "in").write_bytes(taken((4000, 3000)))
    assert keep(tmp_path / "in", tmp_path / "out") == {"width": LONGEST_PX, "height": LONGEST_PX * 3 // 4}


def test_colours_are_those_of_the_profile(tmp_path: Path) -> None:
    """A picture in another colour space looks the same in sRGB: Lab D50 grey stays grey, and carries no profile."""
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    (tmp_path / "in").write_bytes(taken(icc_profile=profile))
    keep(tmp_path / "in", tmp_path / "out")
    with Image.open(tmp_path / "out") as kept:
        assert "icc_profile" not in kept.info
        assert abs(kept.getpixel((400, 300))[1] - 90) < 4  # type: ignore[index]


@pytest.mark.parametrize("kind", ["PNG", "WEBP"])
def test_other_kinds_become_jpeg(tmp_path: Path, kind: str) -> None:
    """What phones and screenshots give; see-through parts become white."""
    picture = Image.new("RGBA", (60, 40), (0, 0, 0, 0))
    picture.save(tmp_path / "in", kind)
    keep(tmp_path / "in", tmp_path / "out")
    with Image.open(tmp_path / "out") as kept:
        assert kept.format == "JPEG" and min(kept.getpixel((30, 20))) > 250  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b"", "no photo was chosen"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "no picture"),
        (b"\xff\xd8\xff\xe0" + b"\0" * 500, "no picture"),
        (taken()[:2000], "no picture"),
        (b"GIF89a" + b"\0" * 100, "no picture"),
    ],
    ids=["empty", "svg", "broken", "cut off", "gif"],
)
def test_what_is_no_photo_is_refused_and_leaves_nothing(house: House, data: bytes, why: str) -> None:
    """One clear line; nothing of it stays."""
    answer = send(house, data)
    assert answer.status_code == 422
    assert why in answer.json()["error"]["what"]
    assert house.job().photos == ()
    assert [p for p in (house.rooms.home / "photo").rglob("*") if p.is_file()] == []


def test_a_picture_that_unfolds_to_too_much_is_refused(tmp_path: Path) -> None:
    """A small file of 144 million pixels is not unfolded."""
    picture = Image.new("1", (12_000, 12_000))
    picture.save(tmp_path / "bomb", "PNG", optimize=False)
    assert (tmp_path / "bomb").stat().st_size < 1_000_000
    assert "too large" in keep(tmp_path / "bomb", tmp_path / "out")["what"]
    assert not (tmp_path / "out").exists()


def test_a_decoder_without_end_is_stopped(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    """Time is limited in the parent, whatever the child does."""
    monkeypatch.setattr(pictures, "_CHECK_S", 0.01)
    answer = send(house, taken())
    assert answer.status_code == 422 and "time and memory" in answer.json()["error"]["what"]


@pytest.mark.skipif(sys.platform == "win32", reason="limits of memory are set where the system has them (POSIX)")
def test_the_child_has_limits() -> None:
    """It is given less memory than would fill the machine."""
    program = "from fieldnote.web.photo_check import limit; limit(); bytearray(4_000_000_000)"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=False)
    assert "MemoryError" in done.stderr


def test_the_sender_is_told_the_hash_of_what_was_sent(house: House) -> None:
    """The phone forgets a photo only when the server had the very bytes; sent twice it is there once."""
    data = taken()
    for _ in range(2):
        assert send(house, data).json()["kept"] == hashlib.sha256(data).hexdigest()
    assert len(house.job().photos) == 1


def test_a_photo_stands_at_its_entry(with_photo: tuple[House, Photo]) -> None:
    """In the bay, at the desk and among the photos; the picture itself comes as a JPEG."""
    house, photo = with_photo
    path = f"/jobs/{photo.job_id}/photos/{photo.id}"
    for page in ("/bay?all=true", "", "/photos"):
        assert f'src="{path}"' in house.client.get(f"/jobs/{photo.job_id}{page}").text, page
    answer = house.client.get(path)
    assert answer.headers["content-type"] == "image/jpeg" and len(answer.content) == photo.bytes
    other = house.job("Unit 8").id
    assert house.client.get(f"/jobs/{other}/photos/{photo.id}").status_code == 404


def test_a_photo_can_be_put_elsewhere(with_photo: tuple[House, Photo]) -> None:
    """With another entry, as another kind; an entry that is not there leaves it with the job."""
    house, photo = with_photo
    carpet = next(e.id for e in house.job().entries if e.part == "carpet")
    house.send(f"/jobs/{photo.job_id}/photos/{photo.id}", entry=carpet, kind="before")
    assert [(p.entry_id, p.kind) for p in house.job().photos] == [(carpet, "before")]
    house.send(f"/jobs/{photo.job_id}/photos/{photo.id}", entry="e-gone", kind="after")
    assert [(p.entry_id, p.kind) for p in house.job().photos] == [(None, "after")]
    assert house.send(f"/jobs/{photo.job_id}/photos/{photo.id}", kind="sideways").status_code == 422  # type: ignore[attr-defined]


def test_a_deleted_photo_leaves_its_hash(with_photo: tuple[House, Photo]) -> None:
    """The file is gone; a line with hash and time stays; the same picture sent again is there again."""
    house, photo = with_photo
    house.send(f"/jobs/{photo.job_id}/photos/{photo.id}/delete")
    assert not (house.rooms.home / photo.path).exists()
    (left,) = house.job().photos
    assert not left.is_here and left.sha256 == photo.sha256
    assert photo.sha256 in house.client.get(f"/jobs/{photo.job_id}/photos").text
    assert house.client.get(f"/jobs/{photo.job_id}/photos/{photo.id}").status_code == 404
    send(house, taken())
    assert house.job().photos[0].is_here and (house.rooms.home / photo.path).exists()


def test_the_write_up_shows_numbered_photos_with_their_entries(with_photo: tuple[House, Photo]) -> None:
    """HTML, PDF and Word hold the picture and say which entry it is of; they can be had without."""
    house, photo = with_photo
    send(house, taken((300, 500)), "", "place")
    files = f"/jobs/{photo.job_id}/files"
    html = house.client.get(f"{files}/html").text
    assert "Photo 1, close-up: gasket at the right tail lamp." in html and "Photo 2, place." in html
    assert html.count("data:image/jpeg;base64,") == 2
    with zipfile.ZipFile(io.BytesIO(house.client.get(f"{files}/docx").content)) as word:
        pictures_in = [name for name in word.namelist() if name.startswith("word/media") and name.endswith(".jpg")]
        text = word.read("word/document.xml").decode()
    assert len(pictures_in) == 2 and 'descr="close-up: gasket at the right tail lamp"' in text
    pdf = house.client.get(f"{files}/pdf").content
    assert pdf.count(b"/DCTDecode") == 2
    for kind in ("html?photos=false", "json", "csv", "md"):
        assert "Photo 1" not in house.client.get(f"{files}/{kind}").text


def test_bundles_hold_photos_only_where_asked(with_photo: tuple[House, Photo], tmp_path: Path) -> None:
    """Without: neither picture nor line. With: both, and a deletion goes along."""
    house, photo = with_photo
    store = house.rooms.store
    export_jobs(store, [photo.job_id], tmp_path / "bare.zip")
    export_jobs(store, [photo.job_id], tmp_path / "full.zip", photos=True)
    with zipfile.ZipFile(tmp_path / "bare.zip") as bare:
        assert not any("photo" in name for name in bare.namelist())
        assert photo.sha256.encode() not in b"".join(bare.read(name) for name in bare.namelist())
    with Store(tmp_path / "other") as other:
        read_bundle(other, tmp_path / "full.zip")
        (there,) = other.job(photo.job_id).photos
        assert there == photo
        assert (other.home / there.path).read_bytes() == (store.home / photo.path).read_bytes()
        store.delete_photo(photo.job_id, photo.id)
        export_jobs(store, [photo.job_id], tmp_path / "gone.zip", photos=True)
        read_bundle(other, tmp_path / "gone.zip")
        assert not other.job(photo.job_id).photos[0].is_here


def test_the_store_looks_after_photos(with_photo: tuple[House, Photo], tmp_path: Path) -> None:
    """A backup holds them; the self-check finds one that is missing or is not what it was."""
    house, photo = with_photo
    store = house.rooms.store
    back_up(store, tmp_path / "copy")
    assert (tmp_path / "copy" / photo.path).is_file()
    assert check(store).findings == ()
    (store.home / photo.path).write_bytes(b"other")
    assert [f.what for f in check(store).findings] == ["a photo is not what it was when it was kept"]
    (store.home / photo.path).unlink()
    assert [f.what for f in check(store).findings] == ["a photo is missing"]
