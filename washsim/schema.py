"""What a scenario file may hold, as JSON Schema, from the declarations of the fields."""

from __future__ import annotations

import dataclasses
from typing import Any

from washsim.fields import (
    Choice,
    Declared,
    Part,
    Quantity,
    Text,
    declared,
    default_of,
    key_of,
)
from washsim.files import FORMAT, round_trip
from washsim.scenario import Scenario


def schema() -> dict[str, Any]:
    """JSON Schema (2020-12) of a scenario file, from the same declarations."""
    body = _schema_block(Scenario)
    body["properties"] = {"format": {"const": FORMAT}} | body["properties"]
    body["required"] = ["format", *body["required"]]
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "washsim scenario",
    } | body


def _schema_block(cls: type, kind: str = "", skip: tuple[str, ...] = ()) -> dict[str, Any]:
    specs = {name: spec for name, spec in declared(cls).items() if name not in skip}
    properties = {key_of(n, spec): _schema_field(cls, n, spec) for n, spec in specs.items()}
    required = [
        key_of(name, spec)
        for name, spec in specs.items()
        if default_of(cls, name) is dataclasses.MISSING
    ]
    if kind:
        properties = {"kind": {"const": kind}} | properties
        required = ["kind", *required]
    return {
        "type": "object",
        "description": (cls.__doc__ or "").strip().split("\n")[0],
        "properties": properties,
        "required": required,
        "additionalProperties": False,
    }


def _schema_field(cls: type, name: str, spec: Declared) -> dict[str, Any]:
    match spec:
        case Quantity():
            found: dict[str, Any] = {
                "type": "integer" if spec.whole else "number",
                "minimum": spec.low,
                "maximum": spec.high,
            }
            default = default_of(cls, name)
            if default is not dataclasses.MISSING and default is not None:
                found["default"] = default if spec.whole else round_trip(spec, default)
        case Choice():
            found = {"enum": list(spec.options)}
            if isinstance(default_of(cls, name), str):
                found["default"] = default_of(cls, name)
        case Text():
            found = {"type": "string", "maxLength": spec.longest}
        case Part(many=True):
            kinds = [
                _schema_block(kind, word if len(spec.kinds) > 1 else "")
                for word, kind in _words(spec)
            ]
            items = kinds[0] if len(kinds) == 1 else {"oneOf": kinds}
            least = int(default_of(cls, name) is dataclasses.MISSING)
            found = {"type": "array", "items": items, "minItems": least, "maxItems": spec.most}
        case Part(named=True):
            block = _schema_block(spec.kinds[0], skip=("name",))
            names = declared(spec.kinds[0])["name"]
            assert isinstance(names, Text)
            found = {
                "type": "object",
                "propertyNames": {"minLength": 1, "maxLength": names.longest},
                "additionalProperties": block,
                "maxProperties": spec.most,
            }
        case Part():
            found = _schema_block(spec.kinds[0])
    return found | {"description": spec.meaning}


def _words(spec: Part) -> list[tuple[str, type]]:
    return list(zip(spec.words or ("",), spec.kinds, strict=True))
