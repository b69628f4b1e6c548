"""Self-contained HTML pages: one look for all of them, and none left half-written."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import jinja2
from markupsafe import Markup

CSS = Path(__file__).with_name("page.css")


def rendered(template: Path, **values: Any) -> str:
    """The page a template makes of the values; `css` is there for it."""
    environment = jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    return environment.from_string(template.read_text("utf-8")).render(css=Markup(CSS.read_text("utf-8")), **values)


def write_whole(page: str, output: Path) -> None:
    """Write a page under another name beside `output` and rename it at the end."""
    part = output.with_name(f".{output.name}.{os.getpid()}.part")
    try:
        with open(part, "w", encoding="utf-8") as file:
            file.write(page)
            file.flush()
            os.fsync(file.fileno())
        os.replace(part, output)
    finally:
        part.unlink(missing_ok=True)
