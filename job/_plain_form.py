"""Frozen results as plain data and back: JSON and arrays, read only into the classes that are asked for.

Nothing in such data names a class or runs anything: what comes out is told by the type hints of the class that is
asked for, and by those of its fields. Whatever does not fit them is refused.
"""

from __future__ import annotations

import functools
import hashlib
import io
import json
import sys
import types
from collections.abc import Callable, Iterator, Mapping
from dataclasses import fields, is_dataclass
from typing import Any, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

import numpy as np
import numpy.typing as npt
from pydantic import BaseModel

import analysis

Result = TypeVar("Result")
_Arrays = list[npt.NDArray[Any]]
_DIGEST_BYTES = hashlib.sha256().digest_size


class NoPlainFormError(ValueError):
    """A value that does not fit the type asked for, or bytes that are not what was written."""


def plain_bytes(value: object) -> bytes:
    """A frozen dataclass as a digest and an .npz of its arrays and, as JSON, everything else.

    Raises
    ------
    NoPlainFormError
        When a field holds what its type hint does not tell: it would not come back as it is.
    """
    arrays: _Arrays = []
    hint: Any = type(value)
    facts = json.dumps(_form(hint).plain(value, arrays)).encode()
    file = io.BytesIO()
    np.savez(file, np.frombuffer(facts, np.uint8), *arrays)
    return hashlib.sha256(file.getbuffer()).digest() + file.getvalue()


def from_plain_bytes(kind: type[Result], data: bytes) -> Result:
    """What `plain_bytes` made of a value of that very class, equal to it field by field and bit by bit.

    Raises
    ------
    NoPlainFormError
        When anything is not as it was written.
    """
    hint: Any = kind
    body = data[_DIGEST_BYTES:]
    if hashlib.sha256(body).digest() != data[:_DIGEST_BYTES]:
        raise NoPlainFormError("cut short or damaged")
    try:
        with np.load(io.BytesIO(body), allow_pickle=False) as file:
            facts, *arrays = (file[name] for name in file.files)
            value: Result = _form(hint).value(json.loads(facts.tobytes()), arrays)
    # Hostile bytes meet many kinds of error; here all mean the same.
    except Exception as error:
        raise NoPlainFormError(str(error)) from error
    return value


class _Form:
    """How values of one type are written and read."""

    def __init__(self, plain: Callable[[Any, _Arrays], Any], value: Callable[[Any, _Arrays], Any]) -> None:
        self.plain, self.value = plain, value


@functools.cache
def _form(hint: Any) -> _Form:
    origin, inner = get_origin(hint), get_args(hint)
    if is_dataclass(hint):
        return _dataclass_form(hint)
    if origin is np.ndarray:
        return _array_form(np.dtype(get_args(inner[1])[0]))
    if origin is tuple:
        return _list_form(inner[0]) if inner[1:] == (...,) else _row_form(inner)
    if origin is Mapping:
        return _table_form(*inner)
    if origin in (Union, types.UnionType):
        return _optional_form(*inner)
    if origin is Literal:
        return _checked_form(lambda value: value in inner)
    if isinstance(hint, type) and issubclass(hint, BaseModel):
        return _model_form(hint)
    if hint not in _EXACT:
        raise NoPlainFormError(f"{hint} has no plain form")
    return _checked_form(_EXACT[hint])


#: a number without a fraction may stand for a float; a truth value stands for nothing else
_EXACT: dict[Any, Callable[[Any], bool]] = {
    float: lambda value: type(value) in (float, int),
    int: lambda value: type(value) is int,
    bool: lambda value: type(value) is bool,
    str: lambda value: type(value) is str,
    types.NoneType: lambda value: value is None,
}


def _checked_form(fits: Callable[[Any], bool]) -> _Form:
    def same(value: Any, arrays: _Arrays) -> Any:
        if not fits(value):
            raise NoPlainFormError(f"{type(value).__name__} where something else belongs")
        return value

    return _Form(same, same)


def _dataclass_form(kind: Any) -> _Form:
    # Some results name the classes of their fields for the type checker alone: the door has those.
    hints = get_type_hints(kind, localns=vars(analysis) | vars(sys.modules[kind.__module__]))
    forms = [(field.name, _form(hints[field.name])) for field in fields(kind)]

    def plain(value: Any, arrays: _Arrays) -> Any:
        if type(value) is not kind:
            raise NoPlainFormError(f"{type(value).__name__} where {kind.__name__} belongs")
        return {name: form.plain(getattr(value, name), arrays) for name, form in forms}

    def value(plain: Any, arrays: _Arrays) -> Any:
        if not isinstance(plain, dict) or len(plain) != len(forms):
            raise NoPlainFormError(f"not the fields of {kind.__name__}")
        return kind(**{name: form.value(plain[name], arrays) for name, form in forms})

    return _Form(plain, value)


def _array_form(dtype: np.dtype[Any]) -> _Form:
    def plain(value: Any, arrays: _Arrays) -> Any:
        if type(value) is not np.ndarray or value.dtype != dtype:
            raise NoPlainFormError(f"not an array of {dtype}")
        # In the order in which it lies in memory: sums over it round by that order.
        arrays.append(value.copy(order="K"))
        return len(arrays) - 1

    def value(plain: Any, arrays: _Arrays) -> Any:
        array = arrays[plain] if type(plain) is int and plain >= 0 else None
        if array is None or array.dtype != dtype:
            raise NoPlainFormError(f"not an array of {dtype}")
        return array

    return _Form(plain, value)


def _list_form(inner: Any) -> _Form:
    """A tuple of any number of one kind."""
    form = _form(inner)
    return _Form(
        lambda value, arrays: [form.plain(one, arrays) for one in _checked(value, tuple)],
        lambda plain, arrays: tuple(form.value(one, arrays) for one in _checked(plain, list)),
    )


def _row_form(inner: tuple[Any, ...]) -> _Form:
    """A tuple of so many, each of its own kind."""
    forms = [_form(one) for one in inner]

    def paired(row: Any, kind: Any) -> Iterator[tuple[_Form, Any]]:
        if len(_checked(row, kind)) != len(forms):
            raise NoPlainFormError(f"{len(row)} values where {len(forms)} belong")
        return zip(forms, row, strict=True)

    return _Form(
        lambda value, arrays: [form.plain(one, arrays) for form, one in paired(value, tuple)],
        lambda plain, arrays: tuple(form.value(one, arrays) for form, one in paired(plain, list)),
    )


def _table_form(key: Any, inner: Any) -> _Form:
    """A mapping as a list of pairs: JSON knows no other keys than texts."""
    pair = _row_form((key, inner))
    return _Form(
        lambda value, arrays: [pair.plain(one, arrays) for one in _checked(value, dict).items()],
        lambda plain, arrays: dict(pair.value(one, arrays) for one in _checked(plain, list)),
    )


def _optional_form(*inner: Any) -> _Form:
    (some,) = (one for one in inner if one is not types.NoneType)
    form = _form(some)
    return _Form(
        lambda value, arrays: None if value is None else form.plain(value, arrays),
        lambda plain, arrays: None if plain is None else form.value(plain, arrays),
    )


def _model_form(kind: type[BaseModel]) -> _Form:
    return _Form(
        lambda value, arrays: _checked(value, kind).model_dump(mode="json"),
        lambda plain, arrays: kind.model_validate_json(json.dumps(plain), strict=True),
    )


def _checked(value: Any, kind: Any) -> Any:
    if type(value) is not kind:
        raise NoPlainFormError(f"{type(value).__name__} where {kind.__name__} belongs")
    return value
