"""The owner's questions: each question's options, and the function that answers it.

The command line makes its options from these classes (`commands.questions`); the report fills in
their fields. A class's docstring is the help of its command, a field an option: `--air-flow` is
`air_flow`. A new question is a class here, a line in `QUESTIONS`, and its function in this room.

Nothing heavy is imported: `wattsump --help` reads this module.
"""

import pkgutil
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from wattsump_analysis.questions.typed import Quantity, option

if TYPE_CHECKING:
    from wattsump_analysis.questions.answer import Answer
    from wattsump_analysis.questions.givens import Givens

__all__ = (
    "QUESTIONS",
    "CabAsked",
    "ForecastAsked",
    "LimitsAsked",
    "LinesAsked",
    "OilAsked",
    "PreheatAsked",
    "Question",
    "RatingAsked",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class RatingAsked:
    """Weigh a cooler's label against what was measured; size the next.

    A label without its temperature difference is decoded into the bases it may have meant.
    """

    label_heat: Quantity = option("power", "Heat on the label, such as '20000 BTU/h'.")
    label_etd: Quantity = option(
        "temperature_difference",
        "Entering difference it is stated at, such as '100 degF'; or leave it out.",
    )
    measured: Quantity = option("conductance", "Measured cooler, such as '95 to 115 W/K'.")
    tolerance: Quantity = option("fraction", "What a label may be missed by, such as '5 %'.")
    air_flow: Quantity = option("air_flow", "Air through the core, such as '600 cfm'.")
    oil_flow: Quantity = option("flow", "Oil through it, such as '12 L/min'.")
    air_temp: Quantity = option("temperature", "Air the flow is counted at; 20 degC if not given.")
    altitude: Quantity = option("altitude", "Where it was measured; sea level if not given.")
    other_altitude: Quantity = option("altitude", "Altitude wanted.")
    other_air_flow: Quantity = option("air_flow", "Air flow wanted.")
    other_oil_flow: Quantity = option("flow", "Oil flow wanted.")
    viscosity: Quantity = option(
        "viscosity", "Oil in the core when measured; 7.4 mm2/s, a rating oil, if not given."
    )
    other_viscosity: Quantity = option("viscosity", "Oil in the core wanted, up to 150 mm2/s.")
    heat: Quantity = option("power", "Heat into the oil to be carried, such as '3.2 to 3.9 kW'.")
    shell: Quantity = option(
        "conductance", "What tank and lines lose by themselves, such as '8 to 14 W/K'."
    )
    hottest: Quantity = option(
        "temperature", "Hottest day at the cooler's intake; sizes the next cooler."
    )
    peak: Quantity = option("temperature", "Oil temperature not to be passed.")
    margin: Quantity = option("fraction", "For a dirty core; 10 % if not given.")
    power: Quantity = option("power", "Drive power, such as '6 hp', when nothing is measured.")
    pump_efficiency: Quantity = option("fraction", "Overall, such as '85 %'.")
    motor_efficiency: Quantity = option("fraction", "Overall, such as '85 %'.")


@dataclass(frozen=True, slots=True, kw_only=True)
class ForecastAsked:
    """Say how hot the oil gets at an ambient and a load, and how soon.

    And in what air each limit is just reached; beyond what was measured, how far that is trusted.
    """

    ambient: Quantity = option("temperature", "Air of the forecast, such as '30 degC'.")
    measured_ambient: Quantity = option(
        "temperature", "Air during the measurement, such as '10 to 15 degC'."
    )
    hottest: Quantity = option(
        "temperature", "Hottest day, for the margins; the air of the forecast if none is given."
    )
    measured: Quantity = option("conductance", "Measured cooler, such as '95 to 115 W/K'.")
    shell: Quantity = option("conductance", "What tank and lines lose by themselves.")
    capacity: Quantity = option("heat_capacity", "Oil and metal, such as '60 to 75 kJ/K'.")
    heat: Quantity = option("power", "Heat into the oil at half of the load (P50).")
    heavy_heat: Quantity = option("power", "Heat that nine tenths of the work stay below (P90).")
    work: Quantity = option(
        "fraction", "Work rate as a share of the measured one, such as '120 %'."
    )
    limit: Quantity = option("temperature", "Oil limit, in place of the usual two.")
    now: Quantity = option(
        "temperature", "Oil now, for the time from now and a fan that fails now."
    )
    start: Quantity = option("temperature", "Oil at a cold start; as cold as the air if not given.")
    still: Quantity = option("conductance", "The cooler without its fan, such as '12 W/K'.")
    altitude: Quantity = option("altitude", "Altitude of the forecast.")
    measured_altitude: Quantity = option(
        "altitude", "Altitude of the measurement; sea level if not given."
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class PreheatAsked:
    """Say how long a heater takes from a cold soak, and what it costs.

    And what power then holds the temperature, for the heated side and for the far one.
    """

    heater: Quantity = option("power", "Heater power, such as '500 W'.")
    target: Quantity = option(
        "temperature", "Oil temperature wanted at the pump inlet; 15 degC if not given."
    )
    soak: Quantity = option("temperature", "Oil after the cold night; -10 degC if not given.")
    ambient: Quantity = option("temperature", "Air; as cold as the soak if not given.")
    oil: Quantity = option("volume", "Oil to warm, such as '18 L'.")
    steel: Quantity = option("mass", "Steel and iron that warm with it, such as '60 kg'.")
    capacity: Quantity = option("heat_capacity", "Or oil and metal as '60 to 75 kJ/K'.")
    loss: Quantity = option(
        "conductance",
        "What the machine loses at rest, such as '8 to 14 W/K'; estimated if not given.",
    )
    heater_area: Quantity = option("area", "Wetted or bonded area, such as '300 cm2'.")
    watt_density: Quantity = option("heat_flux", "Or its power per area, such as '1 W/cm2'.")
    near_share: Quantity = option("fraction", "Share of the capacity beside the heater.")
    coupling: Quantity = option(
        "conductance", "Between heated and far side of a still tank, such as '3 to 12 W/K'."
    )
    voltage: Quantity = option("voltage", "Battery voltage, for the charge it takes.")
    inverter: Quantity = option("fraction", "Inverter efficiency; 85 % if not given.")
    usable: Quantity = option(
        "fraction", "Share of the battery that may be used; 50 % if not given."
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class OilAsked:
    """Say how thick the oil is cold, idling and hot, also of other grades.

    With a session or a proof: for how many minutes it was too thick or too thin.
    """

    grade: str | None = option("text", "Such as 'VG 46', or 'VG 46 VI 150'.")
    index: Quantity = option("number", "Viscosity index of that grade; 100 if not given.")
    viscosity_40: Quantity = option("viscosity", "At 40 degC, from the data sheet.")
    viscosity_100: Quantity = option("viscosity", "At 100 degC.")
    density: Quantity = option("density", "At 15 degC.")
    cold: Quantity = option("temperature", "Oil at a cold start.")
    idle: Quantity = option("temperature", "Oil at idle.")
    peak: Quantity = option("temperature", "Hottest oil of the outing.")
    thickest: Quantity = option("viscosity", "Thickest oil to start with.")
    thinnest: Quantity = option("viscosity", "Thinnest oil at work.")
    compare: Sequence[str] | None = option("texts", "Another oil to compare, as often as you like.")


@dataclass(frozen=True, slots=True, kw_only=True)
class CabAsked:
    """Say what the air behind the cooler gives a cab, and what it costs.

    A duct takes air from the core, so the oil settles higher with it than without.
    """

    heat: Quantity = option("power", "Heat into the oil, such as '3.2 to 3.9 kW'.")
    ambient: Quantity = option("temperature", "Air entering the core.")
    cab: Quantity = option("temperature", "Cab wanted; 20 degC if not given.")
    measured: Quantity = option("conductance", "Measured cooler, such as '95 to 115 W/K'.")
    shell: Quantity = option("conductance", "What tank and lines lose by themselves.")
    air_flow: Quantity = option("air_flow", "Air through the core, such as '600 cfm'.")
    oil_flow: Quantity = option("flow", "Oil through it, for what the duct costs.")
    duct: Quantity = option("fraction", "Share of the core's air the duct takes; all if not given.")
    air_left: Quantity = option(
        "fraction", "Air flow with the duct over that without; 70 % if not given."
    )
    altitude: Quantity = option("altitude", "Sea level if not given.")


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitsAsked:
    """Say what a temperature does to oil, seals, hoses and skin.

    Each row names its standing: little of it is more than common practice.
    """

    oil: Quantity = option("temperature", "Hottest oil; the hottest of the outing if not given.")
    cold: Quantity = option("temperature", "Coldest that seals and hoses have to stand.")


@dataclass(frozen=True, slots=True, kw_only=True)
class LinesAsked:
    """Say what hoses and core hold, how fast oil flows, which fittings fit.

    Sizes go by dash number; pressure and hose class are held against each other.
    """

    flow: Quantity = option("flow", "Oil flow, such as '12 L/min' or '5 gpm'.")
    line: str | None = option("text", "suction, return or pressure; return if not given.")
    dash: Sequence[str] | None = option("texts", "A dash size such as -8, as often as you like.")
    hose: Sequence[str] | None = option(
        "texts", "A hose, bore x length: '-8 x 3 m' or '12.7 mm x 3 m'; as often as there are."
    )
    bore: Quantity = option("length", "Another bore to judge, such as '14 mm'.")
    core: Quantity = option("volume", "What the cooler's core holds, such as '0.8 L'.")
    containers: Quantity = option("number", "Containers poured in, such as 2.5.")
    container: Quantity = option("volume", "Size of one, such as '5 L'.")
    left: Quantity = option("volume", "Left in the last one.")
    pressure: Quantity = option(
        "pressure", "In the line, cold-start peaks counted, such as '150 psi'."
    )
    hose_class: str | None = option("text", "Hose by its SAE designation, such as 100R6.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """A question: the class of its options, and "module:function" of this room that answers it."""

    asked: type[Any]
    answered_by: str
    takes_session: bool = False

    @property
    def answer_to(self) -> "Callable[[Any, Givens], Answer]":
        """The function that answers it, imported when it is asked for."""
        answer: Callable[[Any, Givens], Answer] = pkgutil.resolve_name(
            f"wattsump_analysis.questions.{self.answered_by}"
        )
        return answer


# By the name of the command, in the order of the program's help.
QUESTIONS: Mapping[str, Question] = {
    "rating": Question(asked=RatingAsked, answered_by="rating:rate"),
    "forecast": Question(asked=ForecastAsked, answered_by="forecast:foresee"),
    "preheat": Question(asked=PreheatAsked, answered_by="preheat:warm_up"),
    "oil": Question(asked=OilAsked, answered_by="oil:compare_oils", takes_session=True),
    "cab": Question(asked=CabAsked, answered_by="cab:warm_cab"),
    "limits": Question(asked=LimitsAsked, answered_by="limits:limits_of"),
    "lines": Question(asked=LinesAsked, answered_by="lines:plumb"),
}
