"""Parts of a report about many runs: what the template shows, whatever study or margin it comes from."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Mapping
from dataclasses import dataclass, field

from markupsafe import Markup
from matplotlib.figure import Figure

from swirlwright.postproc.drawing import as_svg
from swirlwright.postproc.report_words import Mark
from swirlwright.solver.schema import Case, FanFile


@dataclass(frozen=True)
class Picture:
    """An `<svg>` element and what stands under it."""

    svg: Markup
    caption: str


def picture_of(figure: Figure, name: str, number: int, caption: str) -> Picture:
    """A figure for the chapter of this number; both keep its ids apart from those of others."""
    return Picture(Markup(as_svg(figure, f"{name}-{number}")), caption)


@dataclass(frozen=True)
class Listing:
    """A table as text: the first `n_words` columns are words, the others numbers."""

    heads: list[str]
    rows: list[list[str]]
    n_words: int = 1
    note: str = ""


@dataclass(frozen=True)
class Section:
    """A heading with what stands below it: a sentence, pictures, tables, notes."""

    title: str
    lead: str = ""
    pictures: list[Picture] = field(default_factory=list)
    tables: list[Listing] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class Download:
    """A file that the page carries."""

    name: str
    words: str
    uri: str

    @classmethod
    def of(cls, name: str, words: str, text: str) -> Download:
        """A text as a file of CSV."""
        return cls(name, words, "data:text/csv;base64," + b64encode(text.encode()).decode("ascii"))


@dataclass(frozen=True)
class Chapter:
    """What a report says of one study.

    Attributes
    ----------
    kicker, title, facts : str
        Lines at its head.
    sentence, more : str
        The answer, and what stands under it.
    marks : list of Mark
        What limits it.
    tiles : list of (str, str)
        A handful of numbers, with words.
    sections : list of Section
    downloads : list of Download
    texts : list of (str, str)
        Headings and the files below them, as they were read.
    case, fans : Case or None, mapping
        The chamber, for the cautions.
    """

    kicker: str
    title: str
    facts: str
    sentence: str
    more: str
    marks: list[Mark]
    tiles: list[tuple[str, str]]
    sections: list[Section]
    downloads: list[Download]
    texts: list[tuple[str, str]]
    case: Case | None
    fans: Mapping[str, FanFile]
