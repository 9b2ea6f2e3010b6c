"""Collects the messages of the program into the template and the catalogues: `python tasks.py words`.

A message is found where it is made: `_`, `n_` and `plural` in Python, in the page's templates and in its
scripts; the help of a command in its docstring and at its options. Translations stay with their message; a
message whose wording changed has to be translated anew.
"""

from __future__ import annotations

import ast
import re
import sys
from collections.abc import Iterator, Mapping
from io import BytesIO
from pathlib import Path
from typing import Any, Final

from babel.messages import Catalog, Message
from babel.messages.extract import extract_from_file
from babel.messages.pofile import read_po, write_po

PACKAGE: Final = Path(__file__).resolve().parents[1]
CATALOGS: Final = Path(__file__).resolve().parent / "catalogs"
TEMPLATE: Final = CATALOGS / "axlewright.pot"
KEYWORDS: Final[Mapping[str, Any]] = {"_": None, "n_": None, "plural": (1, 2)}
_DATED: Final = re.compile(
    rb'^"(?:POT-Creation-Date|PO-Revision-Date|Generated-By|Last-Translator|Language-Team'
    rb"|Report-Msgid-Bugs-To): .*\n",
    re.MULTILINE,
)
_HEADER: Final = "# Words of axlewright.\n#"


def _sources(package: Path) -> Iterator[tuple[str, Path]]:
    for path in sorted(package.rglob("*")):
        within = path.relative_to(package).as_posix()
        if "/vendor/" in within:
            continue
        if path.suffix == ".py" and not within.startswith("language/"):
            yield "python", path
        elif path.suffix == ".html" and "/templates/" in within:
            yield "jinja2.ext:babel_extract", path
        elif path.suffix == ".js" and "/static/js/" in within:
            yield "javascript", path


def _help_texts(path: Path) -> Iterator[tuple[int, str]]:
    """Find the help of commands: what stands at options, and the docstrings of functions that have some."""

    def is_option(argument: ast.arg) -> bool:
        told = "" if argument.annotation is None else ast.unparse(argument.annotation)
        return told.startswith("Annotated[") or bool(re.fullmatch("[A-Z_]+", told))

    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call):
            for word in node.keywords:
                if word.arg == "help" and isinstance(word.value, ast.Constant) and word.value.value:
                    yield node.lineno, str(word.value.value)
        elif isinstance(node, ast.FunctionDef) and any(
            map(is_option, (*node.args.args, *node.args.kwonlyargs))
        ):
            yield node.lineno, ast.get_docstring(node) or ""


def collect(package: Path = PACKAGE) -> Catalog:
    """Collect all messages of the program, without translations.

    Parameters
    ----------
    package : Path
        Folder of the package's sources.
    """
    found = Catalog(project="axlewright", version="", charset="utf-8", header_comment=_HEADER, fuzzy=False)
    for method, path in _sources(package):
        name = path.relative_to(package).as_posix()
        options: dict[str, Any] = (
            {"silent": "false", "trim_blocks": "true", "lstrip_blocks": "true"}
            if path.suffix == ".html"
            else {}
        )
        # The extractors know keywords by name; Babel reads the option names of each method.
        for line, message, comments, context in extract_from_file(
            _method(method), path, keywords=KEYWORDS, comment_tags=("Translators:",), options=options
        ):
            found.add(message, None, [(name, line)], auto_comments=comments, context=context)
        if name.startswith("cli/"):
            for line, text in _help_texts(path):
                found.add(text, None, [(name, line)])
    return found


def _method(name: str) -> Any:
    if ":" not in name:
        return name
    from jinja2.ext import babel_extract

    return babel_extract


def as_text(catalogue: Catalog) -> bytes:
    """Write a catalogue out, the same messages always in the same bytes."""
    out = BytesIO()
    write_po(out, catalogue, width=100, ignore_obsolete=True, include_lineno=False, sort_by_file=True)
    return _DATED.sub(b"", out.getvalue())


def brought_up_to_date(path: Path, template: Catalog) -> bytes:
    """Return a catalogue of translations with the messages of the template.

    Parameters
    ----------
    path : Path
        `<language>.po`; messages it does not have come in untranslated, others fall out.
    template : Catalog
    """
    kept = read_po(BytesIO(path.read_bytes()), locale=path.stem)
    kept.update(template, no_fuzzy_matching=True)
    kept.header_comment = _HEADER
    return as_text(kept)


def translated(message: Message) -> bool:
    """Whether a message has all its forms in the other language and nobody doubts them."""
    forms = (message.string,) if isinstance(message.string, str) else tuple(message.string or ())
    return bool(forms) and all(forms) and not message.fuzzy


def main() -> None:
    """Collect, write, and say how much is translated."""
    template = collect()
    TEMPLATE.write_bytes(as_text(template))
    sys.stdout.write(f"{len(template)} messages\n")
    for path in sorted(CATALOGS.glob("*.po")):
        path.write_bytes(brought_up_to_date(path, template))
        kept = read_po(BytesIO(path.read_bytes()), locale=path.stem)
        open_ones = sum(
            not all(m.string if isinstance(m.string, tuple) else (m.string,)) for m in kept if m.id
        )
        sys.stdout.write(f"{path.stem}: {open_ones} of them not translated yet\n")


if __name__ == "__main__":
    main()
