"""What an oil's label says: its ISO 3448 viscosity grade and its viscosity index (ASTM D2270).

Kinematic viscosity in mm²/s (= cSt).
"""

import math
import re

from wattsump_analysis.arrays import require
from wattsump_logger.errors import RangeError, UsageError

__all__ = (
    "ISO_3448_MM2_S",
    "U_GRADE_REL",
    "grade_viscosity_mm2_s",
    "viscosity_100_mm2_s",
    "viscosity_index",
)

# ISO 3448: grade number -> kinematic viscosity at 40 °C, mid-point; each grade spans mid ± 10 %.
ISO_3448_MM2_S = {
    2: 2.2, 3: 3.2, 5: 4.6, 7: 6.8, 10: 10.0, 15: 15.0, 22: 22.0, 32: 32.0, 46: 46.0, 68: 68.0,
    100: 100.0, 150: 150.0, 220: 220.0, 320: 320.0, 460: 460.0, 680: 680.0, 1000: 1000.0,
    1500: 1500.0, 2200: 2200.0, 3200: 3200.0,
}  # fmt: skip

# Half width 10 % of ISO 3448 taken as rectangular.
U_GRADE_REL = 0.10 / math.sqrt(3.0)
# ASTM D2270, coefficients of L = a Y² + b Y + c and H = d Y² + e Y + f by range of Y = KV100,
# written from memory and checked by the tests against the standard's tabulated L and H.
_L_H = (
    (3.8, 1.14673, 1.7576, -0.109, 0.84155, 1.5521, -0.077),
    (4.4, 3.38095, -15.4952, 33.196, 0.78571, 1.7929, -0.183),
    (5.0, 2.5000, -7.2143, 13.812, 0.82143, 1.5679, 0.119),
    (6.4, 0.10100, 16.6350, -45.469, 0.04985, 9.1613, -18.557),
    (7.0, 3.35714, -23.5643, 78.466, 0.22619, 7.7369, -16.656),
    (7.7, 0.01191, 21.4750, -72.870, 0.79762, -0.7321, 14.610),
    (9.0, 0.41858, 16.1558, -56.040, 0.05794, 10.5156, -28.240),
    (12.0, 0.88779, 7.5527, -16.600, 0.26665, 6.7015, -10.810),
    (15.0, 0.76720, 10.7972, -38.180, 0.20073, 8.4658, -22.490),
    (18.0, 0.97305, 5.3135, -2.200, 0.28889, 5.9741, -4.930),
    (22.0, 0.97256, 5.2500, -0.980, 0.24504, 7.4160, -16.730),
    (28.0, 0.91413, 7.4759, -21.820, 0.20323, 9.1267, -34.230),
    (40.0, 0.87031, 9.7157, -50.770, 0.18411, 10.1015, -46.750),
    (55.0, 0.84703, 12.6752, -133.310, 0.17029, 11.4866, -80.620),
    (70.0, 0.85921, 11.1009, -83.190, 0.17130, 11.3680, -76.940),
    (math.inf, 0.83531, 14.6731, -216.246, 0.16841, 11.8493, -96.947),
)


def grade_viscosity_mm2_s(grade: str | int) -> float:
    """Mid-point viscosity at 40 °C [mm²/s] of an ISO 3448 grade: "VG 46", "ISO VG 46" or 46.

    Raises
    ------
    UsageError
        A text that is no grade of the standard.

    References
    ----------
    ISO 3448, Industrial liquid lubricants - ISO viscosity classification, Table 1.
    """
    match = re.fullmatch(r"(?:iso[\s-]*)?(?:vg[\s-]*)?(\d+)", str(grade).strip().lower())
    number = int(match[1]) if match else -1
    if number not in ISO_3448_MM2_S:
        known = ", ".join(str(n) for n in ISO_3448_MM2_S)
        raise UsageError(
            expected=f"an ISO 3448 grade, VG with one of {known}",
            found=repr(grade),
            where="oil grade",
            do="give the viscosities at 40 °C and 100 °C from the data sheet instead",
        )
    return ISO_3448_MM2_S[number]


def _index_limits(kv100: float) -> tuple[float, float]:
    a, b, c, d, e, f = next(row[1:] for row in _L_H if kv100 <= row[0])
    return a * kv100**2 + b * kv100 + c, d * kv100**2 + e * kv100 + f


def viscosity_index(viscosity_40: float, viscosity_100: float) -> float:
    """Viscosity index, not rounded (the standard reports whole numbers).

    Parameters
    ----------
    viscosity_40, viscosity_100 : float
        Kinematic viscosity at 40 °C and 100 °C [mm²/s]; at least 2 at 100 °C.

    Returns
    -------
    float
        Viscosity index [-].

    Raises
    ------
    RangeError
        Under 2 mm²/s at 100 °C, where the index is not defined, or not thinner at 100 °C.

    Notes
    -----
    Procedure A up to 100: VI = 100 (L - U)/(L - H). Procedure B above: N = ln(H/U)/ln Y,
    VI = 100 + (10^N - 1)/0.00715. L and H come from the standard's quadratic segments, which
    follow its table closely enough to hold the index within 0.2 for hydraulic oils.

    References
    ----------
    ASTM D2270, equations 3 to 6 and the appendix on computing L and H.
    """
    y = float(require(viscosity_100, 2.0, 500.0, unit="mm²/s", where="viscosity at 100 °C"))
    u = require(viscosity_40, y, 1e6, unit="mm²/s", where="viscosity at 40 °C", open_low=True)
    low, high = _index_limits(y)
    if u >= high:
        return 100.0 * float(low - u) / (low - high)
    n = math.log(high / float(u)) / math.log(y)
    return 100.0 + float(10.0**n - 1.0) / 0.00715


def viscosity_100_mm2_s(viscosity_40: float, vi: float) -> float:
    """Viscosity at 100 °C of an oil known at 40 °C and by its index.

    Parameters
    ----------
    viscosity_40 : float
        Kinematic viscosity at 40 °C [mm²/s].
    vi : float
        Viscosity index [-], 0 to 400.

    Returns
    -------
    float
        Kinematic viscosity at 100 °C [mm²/s].

    Raises
    ------
    RangeError
        No viscosity of at least 2 mm²/s at 100 °C has this index.

    References
    ----------
    ASTM D2270, solved for the viscosity at 100 °C.
    """
    from scipy.optimize import brentq  # heavy, and not every caller needs it

    require(vi, 0.0, 400.0, unit="", where="viscosity index")
    low, high = 2.0, 0.999 * min(viscosity_40, 500.0)
    if high <= low or not viscosity_index(viscosity_40, low) <= vi <= viscosity_index(
        viscosity_40, high
    ):
        raise RangeError(
            expected="an oil of at least 2 mm²/s at 100 °C",
            found=f"{viscosity_40:g} mm²/s at 40 °C with viscosity index {vi:g}",
            where="viscosity index",
            do="give the viscosities at 40 °C and 100 °C from the data sheet instead",
        )
    return float(brentq(lambda y: viscosity_index(viscosity_40, y) - vi, low, high, xtol=1e-10))
