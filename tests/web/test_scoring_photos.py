"""Photos of scores: drawn anew, small, silent about where they were taken, shown to those who may look."""

import hashlib
import io
import struct
import zlib

import pytest
from PIL import Image

from hardiness.errors import InputError
from hardiness.store.jpeg import MOST_BYTES, to_jpeg
from hardiness.trial import open_trial

KEY = {"plant": "T01", "scored_on": "2032-02-25", "observer": "A"}


def picture(size=(2000, 1000), form="JPEG", **options) -> bytes:
    out = io.BytesIO()
    Image.effect_noise(size, 40).convert("RGB").save(out, form, **options)
    return out.getvalue()


def bomb(side: int) -> bytes:
    """A PNG of a few kilobytes that says it is drawn side by side pixels."""

    def chunk(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    head = struct.pack(">IIBBBBB", side, side, 1, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"\0" * 2000)) + chunk(b"IEND", b"")
    )


def send(browser, data, name="IMG 1.jpg", **key):
    known = browser.client.get("/score/cards.json?held_only=true").json()
    return browser.client.post("/score/photos", data={"trial": known["trial"], **KEY, **key},
                               files={"file": (name, data)}, headers={"X-Token": known["token"]})  # fmt: skip


def test_a_photo_is_kept_under_its_hash_and_bound_to_its_score(browser, folder):
    answer = send(browser, picture(), name="../../trial.toml")
    assert answer.status_code == 200, answer.text
    (kept,) = (folder / "photos").iterdir()
    assert kept.name == f"{hashlib.sha256(kept.read_bytes()).hexdigest()}.jpg"
    with open_trial(folder) as trial:
        (photo,) = trial.store.photos.of("T01")
        assert (photo.plant, photo.scored_on, photo.observer, photo.width, photo.height) == (
            "T01", "2032-02-25", "A", 1600, 800,
        )  # fmt: skip
        assert trial.store.history()["action"].iloc[-1] == "add photo"
        assert trial.store.orphans() == [] and trial.store.faults() == []
    shown = browser.client.get(answer.json()["photo"])
    assert shown.headers["content-type"] == "image/jpeg" and shown.content == kept.read_bytes()
    assert f'src="{answer.json()["photo"]}"' in browser.page("/photos?plant=T01")


def test_the_same_photo_again_is_one_photo(browser, folder):
    data = picture()
    assert send(browser, data).json() == send(browser, data).json()
    with open_trial(folder) as trial:
        assert len(trial.store.photos.of()) == 1


def test_what_a_camera_hides_in_a_photo_is_left_behind_and_it_stands_upright():
    exif = Image.Exif()
    exif[0x010F], exif[0x0112] = "a maker", 6  # who made the camera; it was held upright
    exif.get_ifd(0x8825)[1] = "N"  # where
    kept = Image.open(io.BytesIO(to_jpeg(picture(exif=exif, comment=b"secret")).data))
    assert kept.size == (800, 1600)
    assert not kept.getexif() and "comment" not in kept.info and "icc_profile" not in kept.info


@pytest.mark.parametrize("form", ["PNG", "WEBP", "JPEG"])
def test_other_forms_become_a_jpeg_and_none_grows(form):
    kept = to_jpeg(picture((300, 200), form))
    assert (kept.width, kept.height) == (300, 200)
    assert Image.open(io.BytesIO(kept.data)).format == "JPEG"


@pytest.mark.parametrize("side", [8_000, 11_000, 60_000])
def test_a_small_file_that_unfolds_to_very_much_is_refused_unopened(browser, folder, side):
    data = bomb(side)
    assert len(data) < 5_000
    answer = send(browser, data)
    assert answer.status_code == 422 and "60 million pixels" in answer.json()["sentences"][0]
    assert not (folder / "photos").exists()


@pytest.mark.parametrize("data", [b"", b"no picture", picture()[:5000], b"GIF89a" + b"\0" * 50, b"<svg/>"])
def test_what_is_no_whole_picture_is_refused(browser, folder, data):
    answer = send(browser, data)
    assert answer.status_code == 422
    assert answer.json()["sentences"] == ["found a file that is no whole picture; accepted: a photo as JPEG, PNG or "
                                          "WebP."]  # fmt: skip


def test_too_many_bytes_are_refused():
    with pytest.raises(InputError, match="one of up to 20 MB"):
        to_jpeg(b"\0" * (MOST_BYTES + 1))


def test_a_photo_wants_a_score(browser, folder):
    answer = send(browser, picture(), observer="nobody")
    assert answer.status_code == 422 and "has no score" in answer.json()["sentences"][0]
    assert not (folder / "photos").exists()


def test_a_photo_is_taken_off_and_is_no_longer_shown(browser, folder):
    path = send(browser, picture()).json()["photo"]
    browser.post("/photos/withdraw", {"sha256": path[8:-4], **KEY})
    assert browser.client.get(path).status_code == 404
    assert "No photo yet." in browser.page("/photos?plant=T01")
    with open_trial(folder) as trial:
        assert trial.store.history()["action"].iloc[-1] == "withdraw photo"
        assert trial.store.orphans() == []  # its file stays


def test_only_those_signed_in_see_a_photo_and_a_viewer_sends_none(serve, peopled):
    ana, eva, nobody = serve(peopled), serve(peopled), serve(peopled)
    ana.sign_in("Ana")
    eva.sign_in("Eva")
    path = send(ana, picture()).json()["photo"]
    assert eva.client.get(path).status_code == 200
    assert nobody.client.get(path, follow_redirects=False).status_code == 303
    sent = eva.client.post("/score/photos", data={"trial": "x", **KEY}, files={"file": ("a.jpg", picture())},
                           headers={"X-Token": eva.token})  # fmt: skip
    assert sent.status_code == 403


@pytest.mark.parametrize("name", ["../trial.toml", "..%2Ftrial.toml", "x" * 64, "0" * 64])
def test_no_path_comes_from_a_name_that_is_asked_for(browser, name):
    send(browser, picture())
    assert browser.client.get(f"/photos/{name}.jpg").status_code in (404, 422)


def test_a_photo_that_is_gone_is_a_fault_that_is_found(browser, folder):
    send(browser, picture())
    (kept,) = (folder / "photos").iterdir()
    kept.unlink()
    with open_trial(folder) as trial:
        assert trial.store.faults() == [f"the photo {kept.stem[:12]} is gone."]
    assert browser.client.get(f"/photos/{kept.name}").status_code == 503


def test_the_archive_holds_the_photos(browser, folder, tmp_path):
    send(browser, picture())
    with open_trial(folder) as trial:
        names = trial.store.write_archive(tmp_path / "trial.zip")
    assert [name for name in names if name.startswith("photos/")] == [
        f"photos/{kept.name}" for kept in (folder / "photos").iterdir()
    ]
