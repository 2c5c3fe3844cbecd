"""Straight-line arithmetic, recorded once and compiled for several trials side by side.

A `Trace` makes `Value`s; arithmetic with them is recorded, not executed. Python numbers may take
part, and trivial operations are dropped: 0.0 * x is 0.0 and records nothing, so that plain loops
over matrices with zeros record only the operations that are needed. `slopes` differentiates the
record backwards [1]_. LLVM compiles its text into vector operations for `LANES` trials at once.

References
----------
.. [1] A. Griewank, A. Walther, Evaluating Derivatives, 2nd ed., 2008, ch. 3: reverse mode.
"""

import math
import operator
import struct
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

import numpy as np

__all__ = ("LANES", "Number", "Trace", "Value", "function", "positive", "root")

LANES = 8
VECTOR = f"<{LANES} x double>"
SQRT = f"llvm.sqrt.v{LANES}f64"
LASTING = ("given", "unknown")  # arrays that are never written, the same in all bins
KEPT = ("values", "columns")  # arrays that may have room for a single bin only
SPLAT = f"<{LANES} x i32> zeroinitializer"


class Value:
    """A number of each trial."""

    __slots__ = ("at", "of")

    def __init__(self, of: "Trace", at: int) -> None:
        self.of = of
        self.at = at

    def __add__(self, other: "Number") -> "Number":
        return self if _is(other, 0.0) else self.of.record("fadd", self, other)

    __radd__ = __add__

    def __neg__(self) -> "Value":
        return self.of.record("fneg", self)

    def __sub__(self, other: "Number") -> "Number":
        return self if _is(other, 0.0) else self.of.record("fsub", self, other)

    def __rsub__(self, other: float) -> "Number":
        return -self if _is(other, 0.0) else self.of.record("fsub", other, self)

    def __mul__(self, other: "Number") -> "Number":
        if _is(other, 0.0):
            return 0.0
        if _is(other, 1.0):
            return self
        return -self if _is(other, -1.0) else self.of.record("fmul", self, other)

    __rmul__ = __mul__

    def __truediv__(self, other: "Number") -> "Number":
        return self.of.record("fdiv", self, other)

    def __rtruediv__(self, other: float) -> "Number":
        return self.of.record("fdiv", other, self)

    def __pow__(self, power: "Number") -> "Number":
        """Of numbers above zero."""
        return self.of.record("exp", power * self.of.record("log", self))

    def __array_ufunc__(self, ufunc: np.ufunc, _method: str, *numbers: Any) -> "Number":
        """numpy's functions, and its numbers' operators, applied to a `Value`."""
        return OF_NUMPY[ufunc.__name__](*numbers)


Number = Value | float


def _is(number: Number, what: float) -> bool:
    return not isinstance(number, Value) and number == what


def greater(a: Number, b: Number, then: Number, otherwise: Number) -> Number:
    """A number where a > b; another elsewhere, and where a or b is not a number."""
    return next(x for x in (a, b) if isinstance(x, Value)).of.record(
        "select", a, b, then, otherwise
    )


def positive(number: Number) -> Number:
    """The number, not a number where it is not above zero; `slopes` are those of the number."""
    return number.of.record("positive", number) if isinstance(number, Value) else number


def root(number: Number) -> Number:
    """Square root; `slopes` does not go through it."""
    return number.of.record("sqrt", number) if isinstance(number, Value) else number**0.5


OF_NUMPY: dict[str, Callable[..., Number]] = {
    "add": operator.add,
    "subtract": operator.sub,
    "multiply": operator.mul,
    "divide": operator.truediv,
    "exp": lambda x: x.of.record("exp", x),
    "maximum": lambda a, b: greater(a, b, a, b),
    "minimum": lambda a, b: greater(a, b, b, a),
}


class Trace:
    """A record of operations, in order."""

    def __init__(self) -> None:
        self.operations: list[tuple[Any, ...]] = []
        self.known: dict[tuple[Any, ...], int] = {}
        self.recalled: dict[int, tuple[Any, ...]] = {}

    def record(self, *operation: Any) -> Value:
        """The result of an operation; of the same as before if it was recorded already."""
        key = tuple((x.at,) if isinstance(x, Value) else x for x in operation)
        at = self.known.setdefault(key, len(self.operations))
        if at == len(self.operations):
            self.operations.append(operation)
        return Value(self, at)

    def recall(self, pointer: str, numbers: Iterable[Number]) -> None:
        """Load these numbers from an array, where they are known, instead of computing them."""
        for index, number in enumerate(numbers):
            if isinstance(number, Value):
                self.recalled[number.at] = ("load", pointer, index)

    def loads(self, pointer: str, count: int) -> list[Value]:
        """Numbers of each trial from an array (count, LANES)."""
        return [self.record("load", pointer, at) for at in range(count)]

    def shared(self, pointer: str, count: int) -> list[Value]:
        """Numbers that are the same in all trials, from an array (count,)."""
        return [self.record("shared", pointer, at) for at in range(count)]

    def stores(self, pointer: str, numbers: Iterable[Number], *, add: bool = False) -> None:
        """Put numbers into an array (count, LANES), or add to what it has."""
        for at, number in enumerate(numbers):
            if add and _is(number, 0.0):
                continue
            before = self.record("load", pointer, at) if add else 0.0
            self.operations.append(("store", pointer, at, before + number))

    def slopes(self, seeds: Sequence[tuple[Number, Number]], of: Sequence[Value]) -> list[Number]:
        """Slopes, in the values `of`, of the sum of numbers times their factors."""
        terms: dict[int, list[tuple[Number, Number]]] = {}

        def credit(value: Number, slope: Number, factor: Number = 1.0) -> None:
            if isinstance(value, Value):
                terms.setdefault(value.at, []).append((slope, factor))

        def whole(at: int) -> Number:
            # Summed in one go, so that it is kept in a register meanwhile.
            total: Number = 0.0
            for slope, factor in terms.get(at, ()):
                total = total - slope if _is(factor, -1.0) else total + slope * factor
            return total

        for value, factor in seeds:
            credit(value, factor)
        by: dict[int, Number] = {}
        for at in range(len(self.operations) - 1, -1, -1):
            if at not in terms:
                continue
            slope = by[at] = whole(at)
            match self.operations[at]:
                case "fadd", a, b:
                    credit(a, slope)
                    credit(b, slope)
                case "fsub", a, b:
                    credit(a, slope)
                    credit(b, slope, -1.0)
                case "fmul", a, b:
                    credit(a, slope, b)
                    credit(b, slope, a)
                case "fdiv", a, b:
                    part = slope * (1.0 / b)
                    credit(a, part)
                    credit(b, -(part * Value(self, at)))
                case "fneg", a:
                    credit(a, slope, -1.0)
                case "positive", a:
                    credit(a, slope)
                case "exp", a:
                    credit(a, slope, Value(self, at))
                case "log", a:
                    credit(a, slope, 1.0 / a)
                case "select", a, b, then, otherwise:
                    credit(then, greater(a, b, slope, 0.0))
                    credit(otherwise, greater(a, b, 0.0, slope))
        return [by.get(value.at, 0.0) for value in of]

    def text(self, prefix: str) -> tuple[str, str]:
        """LLVM text of the operations on `LASTING` arrays alone, and of the others.

        Names begin with `prefix`.
        """
        used: set[int] = set()
        for at in range(len(self.operations) - 1, -1, -1):
            if at in used or self.operations[at][0] == "store":
                used.add(at)
                used.update(x.at for x in self._emitted(at) if isinstance(x, Value))
        lasting: set[int] = set()
        waiting: set[int] = set()  # loads, until they are needed
        parts: tuple[list[str], list[str]] = ([], [])
        for at in sorted(used):
            kind, *numbers = self._emitted(at)
            operands = [x.at for x in numbers if isinstance(x, Value)]
            if kind in ("load", "shared"):
                waiting.add(at)
                if numbers[0] in LASTING:
                    lasting.add(at)
                continue
            if kind != "store" and lasting.issuperset(operands):
                lasting.add(at)
            for ready in (*waiting.intersection(operands), at):
                parts[0 if ready in lasting else 1].extend(self._lines(ready, prefix))
            waiting.difference_update(operands)
        return "".join(f"{line}\n" for line in parts[0]), "".join(f"{x}\n" for x in parts[1])

    def _emitted(self, at: int) -> tuple[Any, ...]:
        return self.recalled.get(at, self.operations[at])

    def _lines(self, at: int, prefix: str) -> list[str]:
        own = f"%{prefix}{at}"

        def name(number: Number) -> str:
            if isinstance(number, Value):
                return f"%{prefix}{number.at}"
            return constant(number)

        match self._emitted(at):
            case ("load" | "shared" | "store") as kind, pointer, index, *what:
                whole = pointer if pointer in LASTING else f"{prefix}{pointer}"
                step = index if kind == "shared" else index * LANES
                place = f"{own}.p = getelementptr double, ptr %{whole}, i64 {step}"
                if kind == "load":
                    return [place, f"{own} = load {VECTOR}, ptr {own}.p, align 8"]
                if kind == "store":
                    return [place, f"store {VECTOR} {name(what[0])}, ptr {own}.p, align 8"]
                return [
                    place,
                    f"{own}.s = load double, ptr {own}.p",
                    f"{own}.v = insertelement {VECTOR} poison, double {own}.s, i32 0",
                    f"{own} = shufflevector {VECTOR} {own}.v, {VECTOR} poison, {SPLAT}",
                ]
            case "select", a, b, then, otherwise:
                return [
                    f"{own}.c = fcmp ogt {VECTOR} {name(a)}, {name(b)}",
                    f"{own} = select <{LANES} x i1> {own}.c, {VECTOR} {name(then)}, "
                    f"{VECTOR} {name(otherwise)}",
                ]
            case "positive", a:
                return [
                    f"{own}.c = fcmp ogt {VECTOR} {name(a)}, zeroinitializer",
                    f"{own} = select <{LANES} x i1> {own}.c, {VECTOR} {name(a)}, "
                    f"{VECTOR} {constant(math.nan)}",
                ]
            case "sqrt", a:
                return [f"{own} = call {VECTOR} @{SQRT}({VECTOR} {name(a)})"]
            case ("exp" | "log") as kind, a:
                lines = INLINE[kind].replace("%", f"{own}.").replace(f"{own}.result", own)
                return lines.replace(f"{own}.x", name(a)).splitlines()
            case "fneg", a:
                return [f"{own} = fneg contract {VECTOR} {name(a)}"]
            case kind, a, b:
                return [f"{own} = {kind} contract {VECTOR} {name(a)}, {name(b)}"]
        raise AssertionError(self.operations[at])


def constant(number: float) -> str:
    """A vector of one number in LLVM's language."""
    bits = struct.pack(">d", number).hex().upper()
    return f"<{', '.join([f'double 0x{bits}'] * LANES)}>"


def function(
    name: str,
    arrays: Mapping[str, int],
    blocks: Sequence[Trace],
    *,
    down: bool = False,
) -> str:
    """Text of a function that goes over the bins, up from the first or down from the last.

    Parameters
    ----------
    name : str
        Name of the function. Its arguments are the last bin's number, 1 or 0 for whether `KEPT`
        arrays have room for each bin, and the arrays.
    arrays : mapping of str to int
        Step of each array from bin to bin, in doubles; `name.then` is that of the next bin.
    blocks : sequence of Trace
        Operations before the loop, in it for each bin but the last, and after it.
    """
    before, within, after = blocks
    first, begin, end, last = ("%last", "%late", -1, 0) if down else (0, 0, "%last", "%last")
    step = -1 if down else 1

    def placed(prefix: str, t: int | str) -> str:
        lines = []
        for array in arrays:
            own = f"%{prefix}{array}"
            lines += [
                f"{own}.at = mul i64 {t}, %{array}.step",
                f"{own} = getelementptr double, ptr %{array}, i64 {own}.at",
                f"{own}.then = getelementptr double, ptr {own}, i64 %{array}.step",
            ]
        return "\n".join(lines) + "\n"

    steps = "\n".join(
        f"%{array}.step = mul i64 {'%kept' if array in KEPT else 1}, {stride}"
        for array, stride in arrays.items()
    )
    arguments = ", ".join(f"ptr noalias %{array}" for array in arrays)
    lasting, each = within.text("b")
    return f"""
define void @{name}(i64 %last, i64 %kept, {arguments}) {{
entry:
{steps}
%late = sub i64 %last, 1
{placed("a", first)}{"".join(before.text("a"))}{lasting}br label %loop
loop:
%t = phi i64 [ {begin}, %entry ], [ %next, %loop ]
{placed("b", "%t")}{each}%next = add i64 %t, {step}
%more = icmp ne i64 %next, {end}
br i1 %more, label %loop, label %done
done:
{placed("c", last)}{"".join(after.text("c"))}ret void
}}
declare {VECTOR} @{SQRT}({VECTOR})
"""


def _horner(x: str, coefficients: Sequence[float], to: str) -> str:
    """Lines of a polynomial, the highest coefficient first."""
    lines, last = [], constant(coefficients[0])
    for k, coefficient in enumerate(coefficients[1:]):
        lines.append(f"%{to}{k}m = fmul contract {VECTOR} {last}, {x}")
        lines.append(f"%{to}{k} = fadd contract {VECTOR} %{to}{k}m, {constant(coefficient)}")
        last = f"%{to}{k}"
    return "\n".join(lines)


def _integers(number: int) -> str:
    return f"<{', '.join([f'i64 {number}'] * LANES)}>"


INTEGERS = f"<{LANES} x i64>"
MOST_EXPONENT = 700.0
TO_INTEGER = 1.5 * 2.0**52  # added to a number, leaves its integer in the low bits
# It ends in so many zeros that its product with an integer is exact.
LN2_HIGH = float.fromhex("0x1.62E42FEEp-1")
LN2_LOW = float.fromhex("0x1.A39EF35793C76p-33")
# exp x = 2^k exp r, r = x - k ln 2, by 14 terms of its series, and log x = e ln 2 + 2 artanh s,
# s = (m - 1) / (m + 1), m between the roots of a half and of 2, by 11 terms: both to a few units of
# the last place.
INLINE = {
    "exp": f"""\
%over = fcmp ogt {VECTOR} %x, {constant(MOST_EXPONENT)}
%low = select <{LANES} x i1> %over, {VECTOR} {constant(MOST_EXPONENT)}, {VECTOR} %x
%under = fcmp olt {VECTOR} %low, {constant(-MOST_EXPONENT)}
%c = select <{LANES} x i1> %under, {VECTOR} {constant(-MOST_EXPONENT)}, {VECTOR} %low
%scaled = fmul {VECTOR} %c, {constant(1.0 / math.log(2.0))}
%moved = fadd {VECTOR} %scaled, {constant(TO_INTEGER)}
%k = fsub {VECTOR} %moved, {constant(TO_INTEGER)}
%high = fmul contract {VECTOR} %k, {constant(LN2_HIGH)}
%rest = fsub contract {VECTOR} %c, %high
%tiny = fmul contract {VECTOR} %k, {constant(LN2_LOW)}
%r = fsub contract {VECTOR} %rest, %tiny
{_horner("%r", [1.0 / math.factorial(n) for n in range(13, -1, -1)], "p")}
%bits = bitcast {VECTOR} %moved to {INTEGERS}
%shifted = shl {INTEGERS} %bits, {_integers(52)}
%own = bitcast {VECTOR} %p12 to {INTEGERS}
%whole = add {INTEGERS} %own, %shifted
%result = bitcast {INTEGERS} %whole to {VECTOR}
""",
    "log": f"""\
%bits = bitcast {VECTOR} %x to {INTEGERS}
%exponent = lshr {INTEGERS} %bits, {_integers(52)}
%placed = or {INTEGERS} %exponent, {_integers(0x433 << 52)}
%shifted = bitcast {INTEGERS} %placed to {VECTOR}
%e0 = fsub {VECTOR} %shifted, {constant(2.0**52 + 1023.0)}
%fraction = and {INTEGERS} %bits, {_integers((1 << 52) - 1)}
%unit = or {INTEGERS} %fraction, {_integers(0x3FF << 52)}
%m0 = bitcast {INTEGERS} %unit to {VECTOR}
%big = fcmp ogt {VECTOR} %m0, {constant(math.sqrt(2.0))}
%half = fmul {VECTOR} %m0, {constant(0.5)}
%m = select <{LANES} x i1> %big, {VECTOR} %half, {VECTOR} %m0
%e1 = fadd {VECTOR} %e0, {constant(1.0)}
%e = select <{LANES} x i1> %big, {VECTOR} %e1, {VECTOR} %e0
%less = fsub {VECTOR} %m, {constant(1.0)}
%more = fadd {VECTOR} %m, {constant(1.0)}
%s = fdiv {VECTOR} %less, %more
%s2 = fmul {VECTOR} %s, %s
{_horner("%s2", [2.0 / n for n in range(21, 0, -2)], "p")}
%small = fmul contract {VECTOR} %s, %p9
%tiny = fmul contract {VECTOR} %e, {constant(LN2_LOW)}
%low = fadd contract {VECTOR} %small, %tiny
%large = fmul contract {VECTOR} %e, {constant(LN2_HIGH)}
%whole = fadd contract {VECTOR} %low, %large
%above = fcmp ogt {VECTOR} %x, zeroinitializer
%result = select <{LANES} x i1> %above, {VECTOR} %whole, {VECTOR} {constant(float("nan"))}
""",
}
