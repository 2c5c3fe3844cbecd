"""The words and figures that the screen and the report's first page share.

One place turns numbers into text, so that the two agree.
"""

import math
from dataclasses import dataclass
from datetime import datetime

from wattsump_analysis.results import Interval, Proof
from wattsump_logger.machine.profile import OIL_ROLES
from wattsump_logger.remark import Remark, shown_in
from wattsump_logger.session.rows import by_program
from wattsump_logger.units.quantities import grouped, show, shown_unit, to_shown
from wattsump_logger.units.sentences import in_units

__all__ = (
    "Fact",
    "chance",
    "clock_text",
    "day_text",
    "facts",
    "figure",
    "limit_name",
    "limits_for",
    "mark_words",
    "rounded",
    "sentence",
    "short_day",
    "spaced",
    "span",
)

# Not the locale's: the page is the same wherever it is made.
_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July",
    "August", "September", "October", "November", "December",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """One line of the answer: its name, the value, and a remark beside it."""

    name: str
    value: str
    beside: str = ""


def figure(value: float, kind: str, units: str = "si", *, both: bool = True) -> str:
    """Return a value with its unit; in US units with the SI value behind it if `both`."""
    text, si = show(value, kind, units), show(value, kind)
    return text if not both or text == si else f"{text} ({si})"


def span(interval: Interval, kind: str, units: str = "si") -> str:
    """Return "low to high unit", both ends to the same digit."""
    if not (math.isfinite(interval.low) and math.isfinite(interval.high)):
        return "no usable range"
    largest = max(abs(interval.low), abs(interval.high))
    low, high = (to_shown(x, kind, units, largest=largest) for x in (interval.low, interval.high))
    size = max(abs(low), abs(high))
    decimals = 2 - math.floor(math.log10(size)) if size > 0 else 0
    unit = shown_unit(kind, units, largest=largest)
    ends = (_rounded(end, decimals, unit) for end in (low, high))
    return f"{' to '.join(ends)} {unit}".rstrip()


def _rounded(value: float, decimals: int, unit: str) -> str:
    return grouped(f"{round(value, decimals):z.{max(decimals, 0)}f}", unit)


def chance(probability: float) -> str:
    """Return a probability in words; never "0 %" or "100 %", which no outing can show."""
    if probability < 0.01:
        return "under 1 in 100"
    if probability > 0.99:
        return "over 99 in 100"
    return f"about {round(100 * probability)} in 100"


def clock_text(elapsed_s: float) -> str:
    """Return a time into the outing as minutes, or hours and minutes."""
    minutes = round(elapsed_s / 60)
    return f"{minutes} min" if minutes < 120 else f"{minutes // 60} h {minutes % 60:02d} min"


def sentence(remark: Remark | str, units: str = "si") -> str:
    """Return a remark as a sentence in the units of display: a capital first, a stop last."""
    text = shown_in(remark, units)
    if not text:
        return text
    return text[0].upper() + text[1:] + ("" if text[-1] in ".!?" else ".")


def mark_words(text: str, units: str = "si") -> str:
    """Return a mark as words: a button's "work-loop" is "work loop"; a note stays as typed.

    A mark that the program wrote, such as that of an alarm, is in the units of display.
    """
    if by_program(text):
        return in_units(text, units)
    return text if " " in text else text.replace("-", " ")


def day_text(start_utc: str) -> str:
    """Return the day of an ISO time as a person writes it, "" where there is none."""
    try:
        day = datetime.fromisoformat(start_utc)
    except ValueError:
        return ""
    return f"{day.day} {_MONTHS[day.month - 1]} {day.year}"


def short_day(start_utc: str | None) -> str:
    """Return a day in short, for an axis: "7 Mar"."""
    day, _, month = day_text(start_utc or "").partition(" ")
    return f"{day} {month[:3]}".strip()


def rounded(value: float, kind: str, units: str, *, near: Interval, unit: bool = True) -> str:
    """Return a value to the first digit of half the width of the range `near`, for a glance.

    "4.3" where the range is 3.51 to 5.03 kW; to the second digit where the first is below 3.
    """
    largest = max(abs(near.low), abs(near.high))
    shown, low, high = (
        float(to_shown(x, kind, units, largest=largest)) for x in (value, near.low, near.high)
    )
    half = 0.5 * abs(high - low)
    decimals = 1
    if half > 0 and math.isfinite(half):
        decimals = -math.floor(math.log10(half / 3.0))
    sign = shown_unit(kind, units, largest=largest)
    text = _rounded(shown, min(decimals, 2), sign)
    return f"{text} {sign}".rstrip() if unit else text


def spaced(name: str) -> str:
    """Return a column or key as words: "cooler_in_c" is "cooler in"."""
    return name.removesuffix("_c").replace("_", " ")


def limit_name(key: str) -> str:
    """Return a limit's name on the screen."""
    return {"oil_warn": "oil warning", "oil_max": "oil limit"}.get(
        key.removesuffix("_c"), f"{spaced(key)} limit"
    )


def limits_for(channel: str, proof: Proof) -> tuple[str, ...]:
    """Return the limits of a channel: its own, else the oil's if oil is in it."""
    if channel in proof.limits_c:
        return (channel,)
    both = ("oil_warn", "oil_max") if channel in OIL_ROLES else ()
    return tuple(key for key in both if key in proof.limits_c)


def facts(proof: Proof, units: str = "si") -> tuple[Fact, ...]:
    """Return the lines of the answer, in the order they are read."""
    lines = [*_label_facts(proof, units), *_conductance_facts(proof, units)]
    rests = dict.fromkeys(route.rests_on for route in proof.routes)
    if rests:
        lines.append(Fact(name="The watts rest on", value="; ".join(rests)))
    hottest = _hottest(proof, units)
    return (*lines, hottest) if hottest else tuple(lines)


def _label_facts(proof: Proof, units: str) -> list[Fact]:
    label = proof.label
    if label is None:
        return []
    lines = []
    printed = figure(label.label_heat_w, "power", units)
    if label.label_etd_k is None:
        beside = "the label prints no oil-to-air difference"
        return [Fact(name="Label says", value=printed, beside=beside)]
    difference = figure(label.label_etd_k, "temperature_difference", units)
    if label.heat_at_etd_w is not None:
        lines.append(
            Fact(
                name="Rejects",
                value=figure(label.heat_at_etd_w.value, "power", units),
                beside=f"{span(label.heat_at_etd_w, 'power', units)} (95 %)",
            )
        )
    lines.append(
        Fact(name="Label says", value=printed, beside=f"both at oil {difference} over air")
    )
    if label.share_of_label is not None:
        lines.append(
            Fact(
                name="Share of label",
                value=figure(label.share_of_label.value, "fraction"),
                beside=f"{span(label.share_of_label, 'fraction')} (95 %)",
            )
        )
    if label.probability_met is not None and label.met_in_100 is not None:
        near = 0.01 <= label.probability_met <= 0.99
        met = f"about {label.met_in_100} in 100" if near else chance(label.probability_met)
        lines.append(Fact(name="Chance it is met", value=met))
    return lines


def _conductance_facts(proof: Proof, units: str) -> list[Fact]:
    if proof.k_w_k is None:
        return []
    at = ""
    if proof.reference_oil_c is not None:
        at = f", at {figure(proof.reference_oil_c, 'temperature', units, both=False)}"
    return [
        Fact(
            name="Per degree",
            value=figure(proof.k_w_k.value, "conductance", units),
            beside=f"{span(proof.k_w_k, 'conductance', units)} (95 %)",
        ),
        Fact(name="Counted from", value=f"{proof.k_refers_to}{at}, to the air going in"),
    ]


def _hottest(proof: Proof, units: str) -> Fact | None:
    oils = {name: peak for name, peak in proof.peaks_c.items() if name in OIL_ROLES}
    if not oils:
        return None
    name, (peak_c, at_s) = max(oils.items(), key=lambda item: item[1][0])
    passed = [key for key in limits_for(name, proof) if peak_c > proof.limits_c[key]]
    beside = f"{spaced(name)}, after {clock_text(at_s)}"
    if passed:
        beside += "; above the " + " and the ".join(map(limit_name, passed))
    return Fact(name="Hottest oil", value=figure(peak_c, "temperature", units), beside=beside)
