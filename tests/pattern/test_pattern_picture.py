"""Opening pictures: what phones send and what goes wrong."""

from __future__ import annotations

import io
import struct
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from axlewright.errors import PhotoError
from axlewright.pattern import load_picture, strip_private_data
from axlewright.pattern.picture import MAX_PIXELS


def _marked(width: int = 400, height: int = 300) -> Image.Image:
    """A picture with a red upper left corner, so that its orientation shows."""
    pixels = np.full((height, width, 3), 120, np.uint8)
    pixels[: height // 4, : width // 4] = (220, 20, 20)
    return Image.fromarray(pixels)


def _jpeg(image: Image.Image, orientation: int = 1, location: bool = False) -> bytes:
    exif = Image.Exif()
    exif[0x0112] = orientation
    exif[0x010F] = "a maker"
    if location:
        exif[0x8825] = {1: "N", 2: (12.0, 34.0, 56.0), 3: "E", 4: (1.0, 2.0, 3.0)}
    out = io.BytesIO()
    image.save(out, "JPEG", quality=90, exif=exif.tobytes())
    return out.getvalue()


STORED = {
    1: None,
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_90,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_270,
}


@pytest.mark.parametrize("orientation", range(1, 9))
def test_every_orientation_comes_out_upright(orientation: int) -> None:
    turn = STORED[orientation]
    image = _marked() if turn is None else _marked().transpose(turn)
    picture = load_picture(_jpeg(image, orientation))
    assert (picture.width, picture.height) == (400, 300)
    assert picture.pixels[20, 20, 0] > 180
    assert picture.pixels[20, 20, 1] < 80


def test_png_with_transparency_opens() -> None:
    out = io.BytesIO()
    Image.new("RGBA", (300, 300), (10, 200, 10, 0)).save(out, "PNG")
    assert load_picture(out.getvalue()).pixels.shape == (300, 300, 3)


@pytest.mark.parametrize("bits", [8, 16])
def test_grey_pictures_keep_their_light(bits: int) -> None:
    """A grey ramp comes out as a ramp: sixteen bits are brought to eight, not cut off at the top."""
    ramp = np.tile(np.linspace(0, 2**bits - 1, 400), (300, 1)).astype(f"uint{bits}")
    out = io.BytesIO()
    Image.fromarray(ramp).save(out, "PNG")
    for data in (out.getvalue(), strip_private_data(out.getvalue())):
        row = load_picture(data).pixels[150, :, 0].astype(float)
        assert np.abs(row - np.linspace(0, 255, 400)).max() < 4.0


def test_a_phone_file_with_several_pictures_gives_the_first() -> None:
    out = io.BytesIO()
    _marked().save(out, "MPO", save_all=True, append_images=[_marked(200, 150)])
    assert load_picture(out.getvalue()).width == 400


def test_heic_is_turned_once() -> None:
    import pillow_heif

    heif = pillow_heif.from_pillow(_marked())
    out = io.BytesIO()
    heif.save(out, quality=90)
    picture = load_picture(out.getvalue())
    assert (picture.width, picture.height) == (400, 300)
    assert picture.pixels[20, 20, 0] > 180


def test_private_data_is_gone_and_pixels_are_upright() -> None:
    data = _jpeg(_marked().transpose(Image.Transpose.ROTATE_90), 6, location=True)
    assert Image.open(io.BytesIO(data)).getexif().get_ifd(0x8825)
    clean = strip_private_data(data)
    image = Image.open(io.BytesIO(clean))
    assert not dict(image.getexif())
    assert "exif" not in image.info
    assert b"a maker" not in clean
    assert image.size == (400, 300)
    assert np.asarray(image)[20, 20, 0] > 180


def test_focal_length_of_the_file_is_used() -> None:
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0xA405] = 26
    out = io.BytesIO()
    _marked().save(out, "JPEG", exif=exif.tobytes())
    focal = load_picture(out.getvalue()).focal_px
    # 26 mm on the 43.27 mm diagonal of the 36 x 24 mm frame, 500 px diagonal here.
    assert focal == pytest.approx(26 / 43.27 * 500, rel=1e-3)


def _png_header(width: int, height: int) -> bytes:
    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(b"0"))
        + chunk(b"IEND", b"")
    )


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b"hello, this is a letter", "not a photo"),
        (b"%PDF-1.7 and more", "not a photo"),
        (b"\xff\xd8\xff\xe0 nothing more", "not a photo"),
        (_png_header(50_000, 50_000), "million pixels"),
        (_png_header(int(MAX_PIXELS**0.5) + 500, int(MAX_PIXELS**0.5) + 500), "million pixels"),
        (_jpeg(_marked(120, 90)), "only 120 × 90 pixels"),
        (_jpeg(_marked(1200, 900))[:2500], "cut short or damaged"),
    ],
)
def test_bad_files_get_one_sentence(data: bytes, words: str) -> None:
    with pytest.raises(PhotoError, match=words) as caught:
        load_picture(data)
    assert caught.value.fix
    assert "\n" not in str(caught.value)


def test_bad_files_are_refused_before_their_data_are_stripped() -> None:
    with pytest.raises(PhotoError, match="not a photo"):
        strip_private_data(b"GIF89a is not wanted here")


def test_missing_file(tmp_path: Path) -> None:
    with pytest.raises(PhotoError, match="no such file"):
        load_picture(tmp_path / "none.jpg")


def test_a_gif_is_not_on_the_list() -> None:
    out = io.BytesIO()
    _marked().save(out, "GIF")
    with pytest.raises(PhotoError, match="JPEG, PNG or HEIC"):
        load_picture(out.getvalue())
