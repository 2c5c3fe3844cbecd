"""Reads the label of an oil can: an ISO 3448 viscosity grade, and perhaps a viscosity index.

ISO 3448 gives the viscosity at 40 °C from the grade, ASTM D2270 (ISO 2909) the viscosity at 100 °C
from the index. Kinematic viscosity in mm²/s (= cSt).
"""

import math
import re
from collections.abc import Callable
from dataclasses import dataclass

from wattsump_logger.errors import RangeError, UsageError

__all__ = (
    "ISO_3448_MM2_S",
    "USUAL_VISCOSITY_INDEX",
    "U_GRADE_REL",
    "OilLabel",
    "holds_water",
    "read_label",
    "viscosity_100",
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
# Common practice, no source: usual for a mineral hydraulic oil.
USUAL_VISCOSITY_INDEX = 100.0
# ISO 11158 class HV and DIN 51524-3 HVLP ask for an index of 140 or more (ASTM D6158 prints the
# same for its class HV; the two standards from memory).
_HV_INDEX = 140.0
# Classes of ISO 11158 and DIN 51524, and AW for anti-wear (common practice, no source).
_LABEL = re.compile(
    r"\s*(?P<words>(?:(?:ISO|VG|HVLPD?|HLPD?|HL|HM|HV|AW)[\s-]*)*)(?P<grade>\d+)\s*"
    r"(?:VI\s*(?P<index>\d+(?:\.\d+)?))?\s*",
    re.IGNORECASE,
)
_WATERY = re.compile(r"\b(water|glycol|emulsion|HF[ABC][ESU]?)\b", re.IGNORECASE)

# ASTM D2270, quadratic fits to the L and H table by viscosity at 100 °C Y: lowest Y, then
# a, b, c of L = a Y² + b Y + c and of H. From memory; checked against the tabulated L
# and H in the tests.
_LH = (
    (2.0, 1.14673, 1.7576, -0.109, 0.84155, 1.5521, -0.077),
    (3.8, 3.38095, -15.4952, 33.196, 0.78571, 1.7929, -0.183),
    (4.4, 2.5000, -7.2143, 13.812, 0.82143, 1.5679, 0.119),
    (5.0, 0.10100, 16.6350, -45.469, 0.04985, 9.1613, -18.557),
    (6.4, 3.35714, -23.5643, 78.466, 0.22619, 7.7369, -16.656),
    (7.0, 0.01191, 21.4750, -72.870, 0.79762, -0.7321, 14.610),
    (7.7, 0.41858, 16.1558, -56.040, 0.05794, 10.5156, -28.240),
    (9.0, 0.88779, 7.5527, -16.600, 0.26665, 6.7015, -10.810),
    (12.0, 0.76720, 10.7972, -38.180, 0.20073, 8.4658, -22.490),
    (15.0, 0.97305, 5.3135, -2.200, 0.28889, 5.9741, -4.930),
    (18.0, 0.97256, 5.2500, -0.980, 0.24504, 7.4160, -16.730),
    (22.0, 0.91413, 7.4759, -21.820, 0.20323, 9.1267, -34.230),
    (28.0, 0.87031, 9.7157, -50.770, 0.18411, 10.1015, -46.750),
    (40.0, 0.84703, 12.6752, -133.310, 0.17029, 11.4866, -80.620),
    (55.0, 0.85921, 11.1009, -83.190, 0.17130, 11.3680, -76.940),
    (70.0, 0.83531, 14.6731, -216.246, 0.16841, 11.8493, -96.947),
)
_HIGHEST_Y = 500.0


@dataclass(frozen=True, slots=True, kw_only=True)
class OilLabel:
    """The mid-point viscosity of the grade, and the index where the label says or implies it."""

    viscosity_40_mm2_s: float
    index: float | None = None


def holds_water(text: str) -> bool:
    """Tell whether an oil's name is that of a fluid with water in it, ISO 6743-4's HFA to HFC.

    >>> holds_water("HFC 46"), holds_water("water-glycol"), holds_water("VG 46")
    (True, True, False)
    """
    return _WATERY.search(text) is not None


def read_label(text: str) -> OilLabel:
    """Read a label such as "VG 46", "ISO-VG-46", "46", "AW 46", "HVLP 46" or "VG 46 VI 150".

    A letter code with a V in it (HV, HVLP) implies an index of 140, the least it may have.

    Raises
    ------
    UsageError
        The text names no grade of the standard.

    References
    ----------
    ISO 3448, Industrial liquid lubricants - ISO viscosity classification, Table 1.
    """
    match = _LABEL.fullmatch(text)
    if match is None or int(match["grade"]) not in ISO_3448_MM2_S:
        raise UsageError(
            expected="an ISO 3448 grade such as 'VG 46', 'AW 46', 'HVLP 46' or 'VG 46 VI 150'",
            found=repr(text),
            where="oil grade",
            do="correct it, or give the viscosities at 40 and 100 degC from the data sheet",
        )
    index = float(match["index"]) if match["index"] else None
    if index is None and "HV" in match["words"].upper():
        index = _HV_INDEX
    return OilLabel(viscosity_40_mm2_s=ISO_3448_MM2_S[int(match["grade"])], index=index)


def viscosity_index(viscosity_40_mm2_s: float, viscosity_100_mm2_s: float) -> float:
    """Viscosity index from the viscosities at 40 and 100 °C.

    Parameters
    ----------
    viscosity_40_mm2_s, viscosity_100_mm2_s : float
        Kinematic viscosities [mm²/s]; the one at 100 °C from 2 to 500.

    Returns
    -------
    float
        Viscosity index [-], not rounded.

    Raises
    ------
    RangeError
        A viscosity outside the standard's range, or the hotter oil the thicker.

    Notes
    -----
    Procedure A, VI = 100 (L - U)/(L - H) up to 100; procedure B,
    VI = 100 + (10^N - 1)/0.00715 with N = log10(H/U)/log10(Y) above.

    References
    ----------
    .. [1] ASTM D2270, equations 1 to 6.
    """
    U, Y = viscosity_40_mm2_s, viscosity_100_mm2_s
    if not (2.0 <= Y <= _HIGHEST_Y and Y < U):
        raise RangeError(
            expected="2 to 500 mm2/s at 100 degC, and more at 40 degC",
            found=f"{Y:g} and {U:g} mm2/s",
            where="viscosity index",
            do="check the two viscosities",
        )
    L, H = _l_and_h(Y)
    if H <= U:
        return 100.0 * (L - U) / (L - H)
    N = math.log10(H / U) / math.log10(Y)
    return 100.0 + (math.pow(10.0, N) - 1.0) / 0.00715


def viscosity_100(viscosity_40_mm2_s: float, index: float) -> float:
    """Viscosity at 100 °C of an oil of given viscosity index.

    Parameters
    ----------
    viscosity_40_mm2_s : float
        Kinematic viscosity at 40 °C [mm²/s].
    index : float
        Viscosity index [-], 0 to 400.

    Returns
    -------
    float
        Kinematic viscosity at 100 °C [mm²/s].

    Raises
    ------
    RangeError
        No viscosity at 100 °C within the standard's 2 to 500 mm²/s has this index.
    UsageError
        An index no oil has.

    References
    ----------
    .. [1] ASTM D2270, solved for Y by bisection.
    """
    if not 0.0 <= index <= 400.0:
        raise UsageError(
            expected="a viscosity index from 0 to 400",
            found=f"{index:g}",
            where="viscosity index",
            do="see the oil's data sheet; 100 is usual for plain hydraulic oil",
        )
    high = min(_HIGHEST_Y, viscosity_40_mm2_s * (1.0 - 1e-9))

    def over(Y: float) -> float:
        return viscosity_index(viscosity_40_mm2_s, Y) - index

    if high <= 2.0 or over(2.0) > 0.0 or over(high) < 0.0:
        raise RangeError(
            expected="an oil of 2 to 500 mm2/s at 100 degC",
            found=f"{viscosity_40_mm2_s:g} mm2/s at 40 degC with index {index:g}",
            where="viscosity index",
            do="give the viscosity at 100 degC from the oil's data sheet",
        )
    return _bisected(over, 2.0, high)


def _bisected(function: Callable[[float], float], low: float, high: float) -> float:
    for _ in range(80):
        middle = 0.5 * (low + high)
        if function(middle) < 0.0:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def _l_and_h(Y: float) -> tuple[float, float]:
    row = [row for row in _LH if row[0] <= Y][-1]
    a, b, c, d, e, f = row[1:]
    return (a * Y + b) * Y + c, (d * Y + e) * Y + f
