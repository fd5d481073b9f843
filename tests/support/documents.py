"""A small check of JSON against the schemas of an OpenAPI document: only what ours uses."""

import re

_TYPES = {
    "string": str,
    "number": (int, float),
    "integer": int,
    "boolean": bool,
    "object": dict,
    "array": list,
    "null": type(None),
}


def check(value, schema, document, path="$"):
    """AssertionError naming the member that is not as described."""
    if "$ref" in schema:
        schema = _resolved(schema["$ref"], document)
    if "anyOf" in schema:
        assert any(_fits(value, choice, document) for choice in schema["anyOf"]), f"{path} fits none"
        return
    if "enum" in schema:
        assert value in schema["enum"], f"{path} is {value!r}"
        return
    wanted = schema["type"] if isinstance(schema["type"], list) else [schema["type"]]
    is_bool = isinstance(value, bool)
    assert any(isinstance(value, _TYPES[t]) and (t == "boolean") == is_bool for t in wanted), (
        f"{path} is {value!r}"
    )
    if isinstance(value, str) and "pattern" in schema:
        assert re.search(schema["pattern"], value), f"{path} is {value!r}"
    if isinstance(value, dict):
        for name in schema.get("required", ()):
            assert name in value, f"{path}.{name} is missing"
        for name, inner in schema.get("properties", {}).items():
            if name in value:
                check(value[name], inner, document, f"{path}.{name}")
    if isinstance(value, list):
        for number, item in enumerate(value):
            check(item, schema["items"], document, f"{path}[{number}]")


def _fits(value, schema, document):
    try:
        check(value, schema, document)
    except AssertionError:
        return False
    return True


def _resolved(reference, document):
    found = document
    for part in reference.removeprefix("#/").split("/"):
        found = found[part]
    return found
