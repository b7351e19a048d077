"""Reads the sums of a check by hand as a reader with a pocket calculator would, and does them again."""

from __future__ import annotations

import ast
import operator
import re
from collections.abc import Callable

from testround.kernel.evidence import Evidence

_UNITS = re.compile(r"\s?(?:st/cm|rows/cm|st|rows|reps|cm|in|m²|m|g|h)(?![\w/²])")
_DOES: dict[type[ast.operator], Callable[[float, float], float]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
}


def value_of(sum_: str) -> float:
    """What one side of a sum comes to."""
    bare = _UNITS.sub("", sum_).replace("×", "*").replace("−", "-")
    return _value(ast.parse(bare.strip(), mode="eval").body)


def _value(node: ast.expr) -> float:
    match node:
        case ast.BinOp(left=left, op=op, right=right):
            return _DOES[type(op)](_value(left), _value(right))
        case ast.UnaryOp(op=ast.USub(), operand=operand):
            return -_value(operand)
        case ast.Constant(value=int() | float() as number):
            return float(number)
    raise AssertionError(f"no sum: {ast.dump(node)}")


def holds(sum_: str) -> bool:
    """Whether the sum, done again from the numbers shown, gives the result shown, to its last digit."""
    left, _, right = sum_.rpartition(" = ")
    result = value_of(right)
    digits = len(_UNITS.sub("", right).strip().partition(".")[2])
    # A result of 103.4 may have been written to two digits, with a nought that is left out.
    return abs(value_of(left) - result) <= 0.5 * 10.0 ** -max(digits, _least(sum_)) + 1e-9 * max(
        1, abs(result)
    )


def _least(sum_: str) -> int:
    """Sums are written to two digits, of metres and hours to one, whole ones to none."""
    return 1 if re.search(r"(?: m| h)$", sum_) else 2


def untrue(evidence: Evidence) -> list[str]:
    """The sums of an evidence that do not hold as they are shown."""
    return [step.sum for step in evidence.steps if step.sum and not holds(step.sum)]
