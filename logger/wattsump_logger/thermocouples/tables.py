"""Coefficients of the thermocouple reference functions.

Source: NIST Monograph 175 (1993), which is NIST Standard Reference Database 60 and is
repeated in IEC 60584-1 and ASTM E230; temperatures are t90 in °C, emf in mV, reference
junction at 0 °C.
The numbers are data: `emf` holds what is done with them.
"""

from collections.abc import Mapping
from dataclasses import dataclass

__all__ = ("REFERENCE", "Segment")


@dataclass(frozen=True, slots=True, kw_only=True)
class Segment:
    """One stretch of a reference function, E(t) in mV.

    `gaussian` is (a0, a1, a2) of the term a0 exp(a1 (t - a2)^2) that type K adds.
    """

    low_c: float
    high_c: float
    coefficients: tuple[float, ...]
    gaussian: tuple[float, float, float] | None = None


def _numbers(text: str) -> tuple[float, ...]:
    return tuple(float(word) for word in text.split())


REFERENCE: Mapping[str, tuple[Segment, ...]] = {
    "K": (
        Segment(
            low_c=-270.0,
            high_c=0.0,
            coefficients=_numbers(
                "0 0.039450128025 2.3622373598e-5 -3.2858906784e-7 -4.9904828777e-9 "
                "-6.7509059173e-11 -5.7410327428e-13 -3.1088872894e-15 -1.0451609365e-17 "
                "-1.9889266878e-20 -1.6322697486e-23"
            ),
        ),
        Segment(
            low_c=0.0,
            high_c=1372.0,
            coefficients=_numbers(
                "-0.017600413686 0.038921204975 1.8558770032e-5 -9.9457592874e-8 3.1840945719e-10 "
                "-5.6072844889e-13 5.6075059059e-16 -3.2020720003e-19 9.7151147152e-23 "
                "-1.2104721275e-26"
            ),
            gaussian=(0.1185976, -0.0001183432, 126.9686),
        ),
    ),
    "J": (
        Segment(
            low_c=-210.0,
            high_c=760.0,
            coefficients=_numbers(
                "0 0.050381187815 3.047583693e-5 -8.568106572e-8 1.3228195295e-10 "
                "-1.7052958337e-13 2.0948090697e-16 -1.2538395336e-19 1.5631725697e-23"
            ),
        ),
        Segment(
            low_c=760.0,
            high_c=1200.0,
            coefficients=_numbers(
                "296.45625681 -1.4976127786 0.0031787103924 -3.1847686701e-6 1.5720819004e-9 "
                "-3.0691369056e-13"
            ),
        ),
    ),
    "T": (
        Segment(
            low_c=-270.0,
            high_c=0.0,
            coefficients=_numbers(
                "0 0.038748106364 4.4194434347e-5 1.1844323105e-7 2.0032973554e-8 "
                "9.0138019559e-10 2.2651156593e-11 3.6071154205e-13 3.8493939883e-15 "
                "2.8213521925e-17 1.4251594779e-19 4.8768662286e-22 1.079553927e-24 "
                "1.3945027062e-27 7.9795153927e-31"
            ),
        ),
        Segment(
            low_c=0.0,
            high_c=400.0,
            coefficients=_numbers(
                "0 0.038748106364 3.329222788e-5 2.0618243404e-7 -2.1882256846e-9 "
                "1.0996880928e-11 -3.0815758772e-14 4.547913529e-17 -2.7512901673e-20"
            ),
        ),
    ),
    "N": (
        Segment(
            low_c=-270.0,
            high_c=0.0,
            coefficients=_numbers(
                "0 0.026159105962 1.0957484228e-5 -9.3841111554e-8 -4.6412039759e-11 "
                "-2.6303357716e-12 -2.2653438003e-14 -7.6089300791e-17 -9.3419667835e-20"
            ),
        ),
        Segment(
            low_c=0.0,
            high_c=1300.0,
            coefficients=_numbers(
                "0 0.025929394601 1.571014188e-5 4.3825627237e-8 -2.5261169794e-10 "
                "6.4311819339e-13 -1.0063471519e-15 9.9745338992e-19 -6.0863245607e-22 "
                "2.0849229339e-25 -3.0682196151e-29"
            ),
        ),
    ),
    "E": (
        Segment(
            low_c=-270.0,
            high_c=0.0,
            coefficients=_numbers(
                "0 0.058665508708 4.5410977124e-5 -7.7998048686e-7 -2.5800160843e-8 "
                "-5.9452583057e-10 -9.3214058667e-12 -1.0287605534e-13 -8.0370123621e-16 "
                "-4.3979497391e-18 -1.6414776355e-20 -3.9673619516e-23 -5.5827328721e-26 "
                "-3.4657842013e-29"
            ),
        ),
        Segment(
            low_c=0.0,
            high_c=1000.0,
            coefficients=_numbers(
                "0 0.05866550871 4.5032275582e-5 2.8908407212e-8 -3.3056896652e-10 "
                "6.502440327e-13 -1.9197495504e-16 -1.2536600497e-18 2.1489217569e-21 "
                "-1.4388041782e-24 3.5960899481e-28"
            ),
        ),
    ),
    "R": (
        Segment(
            low_c=-50.0,
            high_c=1064.18,
            coefficients=_numbers(
                "0 0.00528961729765 1.39166589782e-5 -2.38855693017e-8 3.56916001063e-11 "
                "-4.62347666298e-14 5.00777441034e-17 -3.73105886191e-20 1.57716482367e-23 "
                "-2.81038625251e-27"
            ),
        ),
        Segment(
            low_c=1064.18,
            high_c=1664.5,
            coefficients=_numbers(
                "2.95157925316 -0.00252061251332 1.59564501865e-5 -7.64085947576e-9 "
                "2.05305291024e-12 -2.93359668173e-16"
            ),
        ),
        Segment(
            low_c=1664.5,
            high_c=1768.1,
            coefficients=_numbers(
                "152.232118209 -0.268819888545 0.000171280280471 -3.45895706453e-8 "
                "-9.34633971046e-15"
            ),
        ),
    ),
    "S": (
        Segment(
            low_c=-50.0,
            high_c=1064.18,
            coefficients=_numbers(
                "0 0.00540313308631 1.2593428974e-5 -2.32477968689e-8 3.22028823036e-11 "
                "-3.31465196389e-14 2.55744251786e-17 -1.25068871393e-20 2.71443176145e-24"
            ),
        ),
        Segment(
            low_c=1064.18,
            high_c=1664.5,
            coefficients=_numbers(
                "1.32900444085 0.00334509311344 6.54805192818e-6 -1.64856259209e-9 "
                "1.29989605174e-14"
            ),
        ),
        Segment(
            low_c=1664.5,
            high_c=1768.1,
            coefficients=_numbers(
                "146.628232636 -0.258430516752 0.000163693574641 -3.30439046987e-8 "
                "-9.43223690612e-15"
            ),
        ),
    ),
    "B": (
        Segment(
            low_c=0.0,
            high_c=630.615,
            coefficients=_numbers(
                "0 -0.00024650818346 5.9040421171e-6 -1.3257931636e-9 1.5668291901e-12 "
                "-1.694452924e-15 6.2990347094e-19"
            ),
        ),
        Segment(
            low_c=630.615,
            high_c=1820.0,
            coefficients=_numbers(
                "-3.8938168621 0.02857174747 -8.4885104785e-5 1.5785280164e-7 -1.6835344864e-10 "
                "1.1109794013e-13 -4.4515431033e-17 9.8975640821e-21 -9.3791330289e-25"
            ),
        ),
    ),
}
