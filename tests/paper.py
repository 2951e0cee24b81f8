"""A reader of calculations on paper: computes every printed formula anew from its printed numbers."""

from __future__ import annotations

import ast
import math
import operator
import re
from collections.abc import Callable, Iterable
from typing import Any

from scipy import stats

_FUNCTIONS: dict[str, Callable[[float], Any]] = {
    "sqrt": math.sqrt,
    "abs": abs,
    "Phi": stats.norm.cdf,
}
_OPERATORS: dict[type, Callable[[Any, Any], Any]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
    ast.Pow: operator.pow,
}
_NUMBERS_ONLY = re.compile(r"[-+*/^x().0-9\s]|sqrt|abs|Phi")
_RESULT = re.compile(r"(-?[0-9]+(?:\.[0-9]+)?)(?: m(?:\^[0-9])?)?$")
_COMPARED = re.compile(r"([0-9.]+)(?: m)? (<=|<|>=) ([0-9.]+)(?: m)? is (true|false)$")


def calculated(text: str) -> float | None:
    """Compute a formula that holds numbers only; None where it holds words."""
    if _NUMBERS_ONLY.sub("", text) or not re.search(r"[0-9]", text):
        return None
    tree = ast.parse(text.replace(" x ", " * ").replace("^", "**"), mode="eval")
    return _value(tree.body)


def _value(node: ast.expr) -> float:
    if isinstance(node, ast.Constant) and isinstance(node.value, (int, float)):
        return float(node.value)
    if isinstance(node, ast.BinOp):
        return float(_OPERATORS[type(node.op)](_value(node.left), _value(node.right)))
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        return -_value(node.operand)
    assert isinstance(node, ast.Call), ast.dump(node)
    assert isinstance(node.func, ast.Name)
    (argument,) = node.args
    return float(_FUNCTIONS[node.func.id](_value(argument)))


def result_of(line: str) -> float | None:
    """Give the number that a line ends in, after its last equals sign."""
    found = _RESULT.fullmatch(line.rpartition(" = ")[2]) if " = " in line else None
    return float(found[1]) if found else None


def check_line(line: str) -> bool:
    """Compute the last formula of a line, or its comparison; tell whether there was one to compute."""
    compared = _COMPARED.search(line)
    if compared is not None:
        left, sign, right = float(compared[1]), compared[2], float(compared[3])
        truth = {"<=": left <= right, "<": left < right, ">=": left >= right}[sign]
        assert truth is (compared[4] == "true"), line
        return True
    result = result_of(line)
    parts = line.split(" = ")
    if result is None or len(parts) < 3:
        return False
    again = calculated(parts[-2])
    if again is None:
        return False
    least = 0.01 if line.endswith(" m") else 1.0  # a difference of large numbers loses digits
    assert abs(again - result) <= 1e-5 * max(abs(result), least), line
    return True


def last_result(lines: Iterable[str]) -> float | None:
    """Give the result of the last line that has one."""
    found = [value for line in lines if (value := result_of(line)) is not None]
    return found[-1] if found else None
