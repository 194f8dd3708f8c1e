"""Pages made from templates: texts are escaped, and data cannot close the script it stands in."""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

from silhouette.texts import printable

_FOLDERS = [Path(__file__).parent, Path(__file__).parents[1] / "live" / "page"]
"""Where templates lie: those of single files here, those that the server of the local pages hands out there."""
_UNSAFE = {ord(letter): f"\\u{ord(letter):04x}" for letter in "<>&\u2028\u2029"}


def render(template: str, **context: Any) -> str:
    """The page that a template makes of ``context``. In it ``a.b`` is the item b where ``a`` is a dictionary."""
    page: str = _environment().get_template(template).render(**context)
    return page


def script_json(data: Any) -> Any:
    """JSON that may stand in a script element: no letter of it can end the element, begin a comment or break a line."""
    from markupsafe import Markup

    return Markup(json.dumps(data, separators=(",", ":")).translate(_UNSAFE))


@cache
def _environment() -> Any:
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    class Pages(Environment):
        def getattr(self, obj: Any, attribute: str) -> Any:
            # Jinja would look for a method first: "clear" and "items" are methods of every dictionary.
            if isinstance(obj, Mapping):
                return obj[attribute] if attribute in obj else self.undefined(obj=obj, name=attribute)
            return super().getattr(obj, attribute)

    def shown(value: Any) -> Any:
        return printable(value) if type(value) is str else value

    return Pages(loader=FileSystemLoader(_FOLDERS), autoescape=True, undefined=StrictUndefined,
                 trim_blocks=True, lstrip_blocks=True, finalize=shown)
