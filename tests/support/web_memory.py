"""What Flask works out anew for each application, kept between the applications of one run of tests.

Hundreds of tests make an application each, of the same templates and the same routes. Keyed by what they are
made from, so that a test with a template or a route of its own gets its own.
"""

from collections.abc import Callable
from typing import ClassVar

from flask import Flask
from jinja2 import BytecodeCache
from jinja2.bccache import Bucket
from werkzeug.routing import Rule


class TemplateMemory(BytecodeCache):
    """Compiled templates, in memory; Jinja compares the source before it takes one."""

    def __init__(self) -> None:
        self._kept: dict[str, bytes] = {}

    def load_bytecode(self, bucket: Bucket) -> None:
        """As Jinja asks for it."""
        if bucket.key in self._kept:
            bucket.bytecode_from_string(self._kept[bucket.key])

    def dump_bytecode(self, bucket: Bucket) -> None:
        """As Jinja asks for it."""
        self._kept[bucket.key] = bucket.bytecode_to_string()


class RememberedRule(Rule):
    """A route whose code for making addresses is compiled once; that code asks the rule that it is bound to."""

    _kept: ClassVar[dict[tuple[object, ...], Callable[..., tuple[str, str]]]] = {}

    def _compile_builder(self, append_unknown: bool = True) -> Callable[..., tuple[str, str]]:
        key = (self.rule, tuple(self._trace), repr(self.defaults), append_unknown)
        if key not in self._kept:
            self._kept[key] = super()._compile_builder(append_unknown)
        return self._kept[key]


def remember() -> None:
    """From now on, for every application of this process."""
    Flask.jinja_options = {**Flask.jinja_options, "bytecode_cache": TemplateMemory()}
    Flask.url_rule_class = RememberedRule
