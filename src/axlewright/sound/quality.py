"""Loudness, sharpness and roughness by the optional sound-quality library.

Its figures agree with transcribed values of the standards for loudness (ISO 532-1), sharpness (DIN 45692) and
roughness; its tone-to-noise ratio does not at axle frequencies and is not used.
"""

from __future__ import annotations

import warnings
from types import ModuleType
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from axlewright.errors import OptionalPartMissingError, SoundError
from axlewright.language import eager as _

FloatArray = NDArray[np.float64]

RATE_HZ: Final = 48000
PLAYED_DB: Final = 60.0
"""Level at which an uncalibrated recording is taken to be played [dB re 20 µPa]."""
REFERENCE_PA: Final = 20e-6


def _library() -> ModuleType:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            import mosqito
    except ImportError:
        raise OptionalPartMissingError(
            _(
                "loudness, sharpness and roughness need the optional sound-quality part, "
                "which is not installed"
            ),
            where=_("sound figures"),
            fix=_("install axlewright[sound-quality]"),
        ) from None
    module: ModuleType = mosqito
    return module


def quality_available() -> bool:
    """Say whether the optional part is installed."""
    from importlib.util import find_spec

    return find_spec("mosqito") is not None


def at_level(samples: FloatArray, rate_hz: int, level_db: float | None) -> FloatArray:
    """Return the signal at 48 kHz in pascals.

    Parameters
    ----------
    samples : ndarray, shape (n,)
    rate_hz : int
    level_db : float or None
        Scale to this overall level; None leaves values, which are then pascals already.
    """
    if rate_hz < 16000:
        raise SoundError(
            _("a recording made for speech gives no figure for loudness, sharpness or roughness"),
            where=_("recording"),
            fix=_("record as WAV or m4a at 44.1 or 48 kHz"),
        )
    x = np.asarray(samples, dtype=np.float64)
    if rate_hz != RATE_HZ:
        common = int(np.gcd(rate_hz, RATE_HZ))
        x = np.asarray(signal.resample_poly(x, RATE_HZ // common, rate_hz // common))
    if level_db is not None:
        rms = float(np.sqrt((x**2).mean()))
        if rms <= 0:
            raise SoundError(_("the stretch is silent"), where=_("recording"))
        x = x / rms * REFERENCE_PA * 10 ** (level_db / 20)
    return x


def loudness_sone(samples: FloatArray, rate_hz: int, level_db: float | None = PLAYED_DB) -> float:
    """Return the loudness of a steady sound in a free field (ISO 532-1) [sone]."""
    library = _library()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        value = library.loudness_zwst(at_level(samples, rate_hz, level_db), RATE_HZ, field_type="free")[0]
    return float(value)


def sharpness_acum(samples: FloatArray, rate_hz: int, level_db: float | None = PLAYED_DB) -> float:
    """Return the sharpness of a steady sound (DIN 45692) [acum]."""
    library = _library()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        value = library.sharpness_din_st(
            at_level(samples, rate_hz, level_db), RATE_HZ, weighting="din", field_type="free"
        )
    return float(value)


def roughness_asper(samples: FloatArray, rate_hz: int, level_db: float | None = PLAYED_DB) -> float:
    """Return the roughness (Daniel and Weber 1997), mean over frames of 0.2 s [asper]."""
    library = _library()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        value = library.roughness_dw(at_level(samples, rate_hz, level_db), RATE_HZ, overlap=0)[0]
    return float(np.mean(value))
