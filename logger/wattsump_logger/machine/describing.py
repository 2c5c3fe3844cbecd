"""Describes a machine by a dozen questions, with answers in any units.

Each answer is checked as a key of the profile. `profile_data` makes plain data of the answers,
and `toml_of` writes it.
"""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

from wattsump_logger.errors import UsageError
from wattsump_logger.machine import keys
from wattsump_logger.machine.oil_label import holds_water, read_label

__all__ = ("QUESTIONS", "Question", "checked", "profile_data", "toml_of")

_PARTS = (("tank and frame", "steel"), ("pump and motors", "cast iron"), ("core", "aluminium"))
_AT_COOLER = ("cooler_in", "cooler_out")
_FANS = ("switch", "engine", "thermostat 50 degC")
_THERMOSTAT = "thermostat"
_NO_METAL = "without both heavy parts no metal is listed, and temperatures give no watts"


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One question: `key` of a section, its text, an example, and what skipping costs.

    `example_us` is the example in US units, "" where it is the same.
    An empty answer takes `usual`, or skips the question if there is none; a `required` question
    cannot be skipped.
    """

    name: str
    section: Literal["", "oil", "metal", "drive", "cooler", "heater", "channels"]
    key: str
    text: str
    example: str
    example_us: str = ""
    usual: str = ""
    skipped: str = ""
    required: bool = False


QUESTIONS: tuple[Question, ...] = (
    Question(
        name="name",
        section="",
        key="name",
        text="What is the machine called?",
        example="forwarder behind the barn",
        required=True,
    ),
    Question(
        name="grade",
        section="oil",
        key="grade",
        text="Which hydraulic oil is in it?",
        example="VG 46",
        usual="VG 46",
    ),
    Question(
        name="volume",
        section="oil",
        key="volume",
        text="How much oil is in the whole circuit, hoses and drive included?",
        example="18 L, or 4.75 gal",
        example_us="4.75 gal, or 18 L",
        required=True,
    ),
    Question(
        name="tank metal",
        section="metal",
        key="mass",
        text="How heavy is the steel that warms with the oil: tank, frame rail, brackets?",
        example="24 kg, or 53 lb",
        example_us="53 lb, or 24 kg",
        skipped=_NO_METAL,
    ),
    Question(
        name="drive metal",
        section="metal",
        key="mass",
        text="How heavy are pump and motors together (cast iron)?",
        example="34 kg, or 75 lb",
        example_us="75 lb, or 34 kg",
        skipped=_NO_METAL,
    ),
    Question(
        name="core metal",
        section="metal",
        key="mass",
        text="How heavy is the cooler's core (aluminium)?",
        example="4 kg, or 9 lb",
        example_us="9 lb, or 4 kg",
        skipped="a light part: its absence costs some per cent",
    ),
    Question(
        name="label heat",
        section="cooler",
        key="label_heat",
        text="What heat does the cooler's label claim?",
        example="6 kW, or 20000 BTU/h",
        example_us="20,000 BTU/h, or 6 kW",
        skipped="no verdict without a label: watts only",
    ),
    Question(
        name="label difference",
        section="cooler",
        key="label_etd",
        text="At which difference, oil in over air in, is that claim?",
        example="40 K, or 100 degF; 'not printed' if the label does not say",
        example_us="100 degF, or 40 K; 'not printed' if the label does not say",
        usual=keys.NOT_PRINTED,
    ),
    Question(
        name="oil flow",
        section="cooler",
        key="oil_flow",
        text="How much oil flows through the cooler at working speed?",
        example="12 L/min, or 3 gpm",
        example_us="3 gpm, or 12 L/min",
        skipped="no second route to the watts; a bucket measures it, see proving-a-cooler.md",
    ),
    Question(
        name="fan",
        section="cooler",
        key="fan",
        text="What makes the fan run: a switch, a thermostat, or the engine?",
        example="; ".join(_FANS),
        example_us="switch; engine; thermostat 120 degF",
        usual="switch",
    ),
    Question(
        name="probes",
        section="channels",
        key="mount",
        text="How do the probes at the cooler sit: in the oil, or outside, insulated or bare?",
        example="; ".join(keys.MOUNTS),
        usual="insulated",
    ),
    Question(
        name="power",
        section="drive",
        key="power",
        text="How much power does the engine put into the drive?",
        example="15 kW, or 20 hp",
        example_us="20 hp, or 15 kW",
        skipped="the label cannot be compared with the drive's heat",
    ),
    Question(
        name="heater",
        section="heater",
        key="power",
        text="Which tank heater is fitted?",
        example="500 W",
        skipped="no heater run; preheat times then need --heater",
    ),
)

_TABLES = {
    "oil": keys.OIL,
    "metal": keys.METAL,
    "drive": keys.DRIVE,
    "cooler": keys.COOLER,
    "heater": keys.HEATER,
    "channels": keys.CHANNEL,
}


def checked(question: Question, typed: str) -> str:
    """Return a usable answer: the typed one, the usual one, or "" for skipped.

    Raises
    ------
    UsageError
        An empty answer to a required question, or no answer to this question.
    ProfileError
        A value that the profile would refuse.
    """
    answer = typed.strip() or question.usual
    if not answer:
        if question.required:
            raise UsageError(
                expected=f"an answer such as {question.example!r}",
                found="nothing",
                where=question.text,
                do="this one cannot be skipped",
            )
        return ""
    if question.key == "grade":
        _check_grade(answer)
    elif question.key == "fan":
        word, _, setting = answer.partition(" ")
        if word == _THERMOSTAT and not setting.strip():
            raise UsageError(
                expected="the thermostat with its setting",
                found="no setting",
                where=question.text,
                do="type it as 'thermostat 50 degC'; it is often printed on the switch",
            )
        if word == _THERMOSTAT:
            table = tuple(k for k in keys.COOLER if k.name == "fan_thermostat")
            keys.read({"fan_thermostat": setting}, table, question.name)
        elif answer not in _FANS:
            raise UsageError(
                expected="one of " + ", ".join(_FANS),
                found=repr(answer),
                where=question.text,
                do="type one of them",
            )
    elif question.section:
        table = tuple(k for k in _TABLES[question.section] if k.name == question.key)
        keys.read({question.key: answer}, table, question.name)
    return answer


def _check_grade(answer: str) -> None:
    """Refuse an oil with water in it, or one whose name gives no viscosity."""
    if holds_water(answer):
        raise UsageError(
            expected="an oil, of petroleum or synthetic",
            found=repr(answer),
            where="oil",
            do="a fluid with water in it is not like any of the formulas here",
        )
    try:
        read_label(answer)
    except UsageError as error:
        raise UsageError(
            expected=error.expected,
            found=error.found,
            where="oil",
            do="for another oil, such as 10W-30 or a transmission fluid, take VG 46, which costs a "
            "few per cent of the watts; then write its name and both viscosities of its data sheet "
            "into the file",
        ) from error


def profile_data(answers: Mapping[str, str]) -> dict[str, object]:
    """Return the profile's plain data from the answers by their questions' names."""
    data: dict[str, object] = {}
    sections: dict[str, dict[str, object]] = {}
    masses: list[str] = []
    for question in QUESTIONS:
        answer = answers.get(question.name, "")
        if question.section == "metal":
            masses.append(answer)
        elif question.key == "fan":
            if answer == "engine":
                sections.setdefault("cooler", {})["fan_with_engine"] = True
            elif answer.startswith(_THERMOSTAT):
                setting = answer.partition(" ")[2]
                sections.setdefault("cooler", {})["fan_thermostat"] = setting
        elif answer and question.section == "channels":
            data["channels"] = {name: {question.key: answer} for name in _AT_COOLER}
        elif answer and question.section:
            sections.setdefault(question.section, {})[question.key] = answer
        elif answer:
            data[question.key] = answer
    # A list without a heavy part would count as complete, and the watts come out low.
    metal = [
        {"name": name, "material": material, "mass": mass}
        for (name, material), mass in zip(_PARTS, masses, strict=True)
        if mass and all(masses[:2])
    ]
    return {**data, **({"metal": metal} if metal else {}), **sections}


def toml_of(data: Mapping[str, object]) -> str:
    """Return plain profile data as TOML, sections in the order of `keys.SECTIONS`."""
    return "\n".join(_lines(data)) + "\n"


def _lines(data: Mapping[str, object]) -> Iterator[str]:
    for section in keys.SECTIONS:
        value = data.get(section)
        if isinstance(value, Mapping):
            plain = {key: one for key, one in value.items() if not isinstance(one, Mapping)}
            if plain:
                yield f"\n[{section}]"
                yield from _pairs(plain)
            for name, part in value.items():
                if isinstance(part, Mapping):
                    yield f"\n[{section}.{name}]"
                    yield from _pairs(part)
        elif isinstance(value, list):
            for part in value:
                yield f"\n[[{section}]]"
                yield from _pairs(part)
        elif value is not None:
            yield from _pairs({section: value})


def _pairs(section: Mapping[str, object]) -> Iterator[str]:
    for key, value in section.items():
        yield f"{key} = {json.dumps(value, ensure_ascii=False)}"
