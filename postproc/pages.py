"""Self-contained HTML pages: one look for all of them, and none left half-written."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import jinja2
from markupsafe import Markup

from swirlwright.solver.whole_file import write_whole as write_bytes_whole

CSS = Path(__file__).with_name("page.css")


def rendered(template: Path, **values: Any) -> str:
    """The page a template makes of the values; `css` is there for it."""
    environment = jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    return environment.from_string(template.read_text("utf-8")).render(css=Markup(CSS.read_text("utf-8")), **values)


def write_whole(page: str, output: Path) -> None:
    """Write a page under another name beside `output` and rename it at the end."""
    write_bytes_whole(output, page.encode("utf-8"), output.with_name(f".{output.name}.{os.getpid()}.part"))
