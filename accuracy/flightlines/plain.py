"""Frozen records to plain dictionaries for JSON, and back by their type hints."""

from __future__ import annotations

import dataclasses
import types
from collections.abc import Mapping
from enum import Enum
from typing import Any, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

R = TypeVar("R")

#: Fields that hold rasters.
_NOT_PLAIN = frozenset({"grids"})


def to_plain(record: Any) -> dict[str, Any]:
    """Give the fields of a record as plain values; keys of mappings become text."""
    return {
        field.name: _plain(getattr(record, field.name))
        for field in dataclasses.fields(record)
        if field.name not in _NOT_PLAIN
    }


def from_plain(kind: type[R], values: Mapping[str, Any]) -> R:
    """Make a record of plain values; what is missing takes its default."""
    hints = get_type_hints(kind)
    names = {field.name for field in dataclasses.fields(kind)}  # type: ignore[arg-type]  # a dataclass, which mypy cannot tell of a type variable
    return kind(**{name: _typed(hints[name], values[name]) for name in values if name in names})


def _plain(value: Any) -> Any:
    if dataclasses.is_dataclass(value):
        return to_plain(value)
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, tuple | list):
        return [_plain(item) for item in value]
    return value


def _typed(hint: Any, value: Any) -> Any:
    origin, inner = get_origin(hint), get_args(hint)
    if value is None or origin is Literal:
        return value
    if origin in (Union, types.UnionType):
        return (
            _typed(next(i for i in inner if i is not type(None)), value)
            if type(None) in inner
            else value
        )
    if origin is tuple:
        kinds = [inner[0]] * len(value) if len(inner) == 2 and inner[1] is ... else inner
        return tuple(_typed(kind, item) for kind, item in zip(kinds, value, strict=True))
    if isinstance(value, Mapping) and not dataclasses.is_dataclass(hint):
        key = inner[0] if inner else str
        content = inner[1] if len(inner) == 2 else Any
        return {key(name): _typed(content, item) for name, item in value.items()}
    if dataclasses.is_dataclass(hint):
        return from_plain(hint, value)  # type: ignore[arg-type]  # a dataclass, which mypy cannot tell of a type variable
    if isinstance(hint, type) and issubclass(hint, Enum):
        return hint(value)
    return float(value) if hint is float else value
