"""Pictures from a phone: decoded once, turned upright once, guarded against files that lie."""

from __future__ import annotations

import io
import warnings
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageOps, UnidentifiedImageError

from axlewright.errors import PhotoError
from axlewright.language import Number, _

Pixels = NDArray[np.uint8]

MAX_BYTES = 60_000_000
MAX_PIXELS = 120_000_000
MIN_SIDE = 240  # px; a tooth in a smaller picture is too coarse to read
FORMATS = ("JPEG", "PNG", "HEIF")
FILM_DIAGONAL_MM = 43.27  # of the 36 × 24 mm frame that "35 mm equivalent" focal lengths refer to

_EXIF_FOLDER = 0x8769
_FOCAL_35MM = 0xA405


@dataclass(frozen=True, slots=True)
class Picture:
    """An upright picture.

    Attributes
    ----------
    pixels : array of uint8, shape (height, width, 3)
        sRGB.
    focal_px : float or None
        Focal length the camera wrote into the file [px]; None when it wrote none.
    name : str
        File name, for messages.
    """

    pixels: Pixels
    focal_px: float | None = None
    name: str = "picture"

    @property
    def width(self) -> int:
        """Width [px]."""
        return int(self.pixels.shape[1])

    @property
    def height(self) -> int:
        """Height [px]."""
        return int(self.pixels.shape[0])


@lru_cache(maxsize=1)
def _know_heic() -> None:
    import pillow_heif

    pillow_heif.register_heif_opener()


def _read_bytes(source: str | Path | bytes) -> tuple[bytes, str]:
    if isinstance(source, bytes | bytearray | memoryview):
        data, name = bytes(source), "picture"
    else:
        path = Path(source)
        name = path.name
        if not path.is_file():
            raise PhotoError(_("there is no such file"), where=str(source), fix=_("give the path of a photo"))
        if path.stat().st_size > MAX_BYTES:
            raise PhotoError(
                _("the file has {st_size} MB").format(st_size=Number(path.stat().st_size / 1e6, ".0f")),
                where=name,
                fix=_("use a photo below {max_bytes} MB").format(max_bytes=Number(MAX_BYTES / 1e6, ".0f")),
            )
        try:
            data = path.read_bytes()
        except OSError as error:
            raise PhotoError(
                _("cannot be read ({name})").format(name=error.__class__.__name__),
                where=name,
                fix=_("check the file"),
            ) from error
    if not data:
        raise PhotoError(_("the file is empty"), where=name, fix=_("take or send the photo again"))
    if len(data) > MAX_BYTES:
        raise PhotoError(
            _("the file has {count} MB").format(count=Number(len(data) / 1e6, ".0f")),
            where=name,
            fix=_("use a photo below {max_bytes} MB").format(max_bytes=Number(MAX_BYTES / 1e6, ".0f")),
        )
    return data, name


def _open(data: bytes, name: str) -> Image.Image:
    _know_heic()
    try:
        with warnings.catch_warnings():
            # The size is checked below with a limit and a message of our own.
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            image = Image.open(io.BytesIO(data), formats=FORMATS)
    except Image.DecompressionBombError as error:
        raise _too_many(name) from error
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError) as error:
        raise PhotoError(
            _("this is not a photo this program can open"),
            where=name,
            fix=_("use a JPEG, PNG or HEIC picture"),
        ) from error
    if image.width * image.height > MAX_PIXELS:
        raise _too_many(name)
    if min(image.size) < MIN_SIDE:
        raise PhotoError(
            _("the picture has only {width} × {height} pixels").format(
                width=image.width, height=image.height
            ),
            where=name,
            fix=_(
                "use one with at least {min_side} pixels on its shorter side, best straight from the camera"
            ).format(min_side=MIN_SIDE),
        )
    return image


def _too_many(name: str) -> PhotoError:
    return PhotoError(
        _("the picture unpacks to more than {max_pixels} million pixels").format(
            max_pixels=Number(MAX_PIXELS / 1e6, ".0f")
        ),
        where=name,
        fix=_("use a photo straight from the camera"),
    )


def _decode(image: Image.Image, name: str) -> Image.Image:
    try:
        image.load()
        ImageOps.exif_transpose(image, in_place=True)
        return _eight_bit(image)
    except (OSError, SyntaxError, ValueError, EOFError) as error:
        raise PhotoError(
            _("the file is cut short or damaged"), where=name, fix=_("copy or send the photo again")
        ) from error


def _eight_bit(image: Image.Image) -> Image.Image:
    """Return a grey picture of 16 bits in 8; left to itself the conversion would cut all light off."""
    if not image.mode.startswith("I"):
        return image
    return Image.fromarray(np.clip(np.asarray(image) // 257, 0, 255).astype(np.uint8))


def _focal_px(image: Image.Image) -> float | None:
    try:
        value = image.getexif().get_ifd(_EXIF_FOLDER).get(_FOCAL_35MM)
        focal = float(value) if value else 0.0
    except Exception:  # damaged EXIF data must not keep a good picture from being read
        return None
    if not 10.0 <= focal <= 400.0:
        return None
    return float(focal / FILM_DIAGONAL_MM * np.hypot(image.width, image.height))


def load_picture(source: str | Path | bytes) -> Picture:
    """Open a photo and turn it upright.

    Parameters
    ----------
    source : str, Path or bytes
        A JPEG, PNG or HEIC file, or its bytes.

    Returns
    -------
    Picture

    Raises
    ------
    PhotoError
        When it is missing, empty, no photo, damaged, too small or too large.
    """
    data, name = _read_bytes(source)
    image = _open(data, name)
    focal = _focal_px(image)
    upright = _decode(image, name)
    if upright.mode in ("RGBA", "LA", "PA") or "transparency" in upright.info:
        upright = upright.convert("RGBA")
        ground = Image.new("RGBA", upright.size, (128, 128, 128, 255))
        upright = Image.alpha_composite(ground, upright)
    plain = upright if upright.mode == "RGB" else upright.convert("RGB")
    return Picture(np.asarray(plain), focal, name)


def strip_private_data(data: bytes) -> bytes:
    """Return the picture as a JPEG without location, time, device or any other data beside its pixels.

    Parameters
    ----------
    data : bytes
        A JPEG, PNG or HEIC file.

    Returns
    -------
    bytes
        Upright JPEG that keeps only its colour profile. A picture that is a JPEG already is coded again at
        high quality.

    Raises
    ------
    PhotoError
        As `load_picture`.
    """
    data, name = _read_bytes(data)
    image = _open(data, name)
    profile = image.info.get("icc_profile")
    upright = _decode(image, name).convert("RGB")
    clean = Image.fromarray(np.asarray(upright))  # a new picture carries nothing over
    out = io.BytesIO()
    if isinstance(profile, bytes) and len(profile) < 100_000:
        clean.save(out, "JPEG", quality=93, subsampling=0, icc_profile=profile)
    else:
        clean.save(out, "JPEG", quality=93, subsampling=0)
    return out.getvalue()


class RefusedPhotoError(PhotoError):
    """A picture of the right tooth is no ground for a reading; its `fix` says how to take it again."""
