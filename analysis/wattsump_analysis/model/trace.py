"""Straight-line arithmetic, recorded once and compiled for several trials side by side.

A `Trace` hands out `Value`s; what is reckoned with them is recorded, not done. Numbers of Python
take part and vanish where they can: 0.0 * x is 0.0 and records nothing, so that plain loops over
matrices with zeros come out as only what has to be done. `slopes` goes back through the record
[1]_. The text of it is compiled by LLVM for `LANES` trials at once, each operation one of vectors.

References
----------
.. [1] A. Griewank, A. Walther, Evaluating Derivatives, 2nd ed., 2008, ch. 3: reverse mode.
"""

import struct
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

__all__ = ("LANES", "Number", "Trace", "Value", "function", "positive", "root")

LANES = 8
VECTOR = f"<{LANES} x double>"
ROOT = f"llvm.sqrt.v{LANES}f64"
SPLAT = f"<{LANES} x i32> zeroinitializer"


class Value:
    """One number of each trial."""

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

    def __rtruediv__(self, other: float) -> "Number":
        return self.of.record("fdiv", other, self)


Number = Value | float


def _is(number: Number, what: float) -> bool:
    return not isinstance(number, Value) and number == what


def positive(number: Number) -> Number:
    """The number, not a number where it is not above zero."""
    return number.of.record("positive", number) if isinstance(number, Value) else number


def root(number: Number) -> Number:
    """Square root; `slopes` does not go through it."""
    return number.of.record("sqrt", number) if isinstance(number, Value) else number**0.5


class Trace:
    """A record of operations, in order."""

    def __init__(self) -> None:
        self.operations: list[tuple[Any, ...]] = []

    def record(self, *operation: Any) -> Value:
        self.operations.append(operation)
        return Value(self, len(self.operations) - 1)

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
            self.record("store", pointer, at, before + number)

    def slopes(self, seeds: Sequence[tuple[Number, Number]], of: Sequence[Value]) -> list[Number]:
        """Slopes, in the values `of`, of the sum of numbers times their factors."""
        by: dict[int, Number] = {}

        def credit(value: Number, slope: Number) -> None:
            if isinstance(value, Value):
                by[value.at] = by.get(value.at, 0.0) + slope

        for value, factor in seeds:
            credit(value, factor)
        for at in range(len(self.operations) - 1, -1, -1):
            if at not in by:
                continue
            slope = by[at]
            match self.operations[at]:
                case "fadd", a, b:
                    credit(a, slope)
                    credit(b, slope)
                case "fsub", a, b:
                    credit(a, slope)
                    credit(b, -slope)
                case "fmul", a, b:
                    credit(a, slope * b)
                    credit(b, slope * a)
                case "fdiv", a, b:
                    inverse = 1.0 / b
                    credit(a, slope * inverse)
                    credit(b, -(slope * Value(self, at) * inverse))
                case "fneg", a:
                    credit(a, -slope)
                case "positive", a:
                    credit(a, slope)
        return [by.get(value.at, 0.0) for value in of]

    def text(self, prefix: str) -> str:
        """LLVM's language for the record; names begin with `prefix`."""

        def name(number: Number) -> str:
            if isinstance(number, Value):
                return f"%{prefix}{number.at}"
            bits = struct.pack(">d", number).hex().upper()
            return f"<{', '.join([f'double 0x{bits}'] * LANES)}>"

        lines = []
        for at, operation in enumerate(self.operations):
            own = f"%{prefix}{at}"
            match operation:
                case ("load" | "shared" | "store") as kind, pointer, index, *what:
                    step = index if kind == "shared" else index * LANES
                    lines.append(
                        f"{own}.p = getelementptr double, ptr %{prefix}{pointer}, i64 {step}"
                    )
                    if kind == "load":
                        lines.append(f"{own} = load {VECTOR}, ptr {own}.p, align 8")
                    elif kind == "store":
                        lines.append(f"store {VECTOR} {name(what[0])}, ptr {own}.p, align 8")
                    else:
                        lines.append(f"{own}.s = load double, ptr {own}.p")
                        lines.append(
                            f"{own}.v = insertelement {VECTOR} poison, double {own}.s, i32 0"
                        )
                        lines.append(
                            f"{own} = shufflevector {VECTOR} {own}.v, {VECTOR} poison, {SPLAT}"
                        )
                case "positive", a:
                    lines.append(f"{own}.c = fcmp ogt {VECTOR} {name(a)}, zeroinitializer")
                    lines.append(
                        f"{own} = select <{LANES} x i1> {own}.c, {VECTOR} {name(a)}, "
                        f"{VECTOR} {name(float('nan'))}"
                    )
                case "sqrt", a:
                    lines.append(f"{own} = call {VECTOR} @{ROOT}({VECTOR} {name(a)})")
                case "fneg", a:
                    lines.append(f"{own} = fneg contract {VECTOR} {name(a)}")
                case kind, a, b:
                    lines.append(f"{own} = {kind} contract {VECTOR} {name(a)}, {name(b)}")
        return "\n".join(lines) + "\n"


def function(
    name: str,
    arrays: Mapping[str, int | str],
    blocks: Sequence[Trace],
    *,
    down: bool = False,
) -> str:
    """Text of a function that goes over the bins, up from the first or down from the last.

    Parameters
    ----------
    name : str
        Of the function, whose arguments are the last bin's number, `kept`, and the arrays.
    arrays : mapping of str to int or str
        How far each array moves from bin to bin, in doubles; `name.then` is that of the next bin.
    blocks : sequence of Trace
        What is done before the loop, in it for each bin but the last, and after it.
    """
    before, within, after = blocks
    first, begin, end, last = ("%last", "%late", -1, 0) if down else (0, 0, "%last", "%last")
    step = -1 if down else 1

    def placed(prefix: str, t: int | str, trace: Trace) -> str:
        lines = []
        for array, stride in arrays.items():
            own = f"%{prefix}{array}"
            lines += [
                f"{own}.at = mul i64 {t}, {stride}",
                f"{own} = getelementptr double, ptr %{array}, i64 {own}.at",
                f"{own}.then = getelementptr double, ptr {own}, i64 {stride}",
            ]
        return "\n".join(lines) + "\n" + trace.text(prefix)

    arguments = ", ".join(f"ptr noalias %{array}" for array in arrays)
    return f"""
declare {VECTOR} @{ROOT}({VECTOR})
define void @{name}(i64 %last, i64 %kept, {arguments}) {{
entry:
%late = sub i64 %last, 1
{placed("a", first, before)}br label %loop
loop:
%t = phi i64 [ {begin}, %entry ], [ %next, %loop ]
{placed("b", "%t", within)}%next = add i64 %t, {step}
%more = icmp ne i64 %next, {end}
br i1 %more, label %loop, label %done
done:
{placed("c", last, after)}ret void
}}
"""
