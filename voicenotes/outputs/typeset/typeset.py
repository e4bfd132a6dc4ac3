"""Pages to print: a template of this folder and its data become a PDF, through the library typst.

Nothing outside is used: fonts are those inside the library, files are those given, nothing is fetched.
The same template and data give the same bytes.
"""

from __future__ import annotations

import contextlib
import json
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from voicenotes.errors import SheetError

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    import typst

TEMPLATES = Path(__file__).parent
PAPERS = ("a4", "letter")


def pdf(template_name: str, data: Mapping[str, object], files: Mapping[str, bytes] | None = None) -> bytes:
    """The PDF that a template makes of `data`, which must be JSON; raises SheetError when it can't be set.

    A template `NAME.typ` reads its data with `#import "common.typ": data`; every string in it is text, never
    markup. `files` are what it may show, by path: pictures of the kinds PNG, JPEG, GIF, WebP and SVG.
    """
    import typst

    try:
        with _compiler(template_name, data, files) as compiler:
            made = compiler.compile(format="pdf", timestamp=0)
    except typst.TypstError as error:
        raise _unset(template_name, error.message) from None
    if not isinstance(made, bytes):
        raise _unset(template_name, "nothing came out")
    return made


def pages_of(template_name: str, data: Mapping[str, object], files: Mapping[str, bytes] | None = None) -> int:
    """How many pages `pdf` would make of a template that holds `page-count` of common.typ."""
    import typst

    try:
        with _compiler(template_name, data, files) as compiler:
            return int(json.loads(compiler.query("<pages>", field="value", one=True)))
    except typst.TypstError as error:
        raise _unset(template_name, error.message) from None


@contextlib.contextmanager
def _compiler(
    template_name: str, data: Mapping[str, object], files: Mapping[str, bytes] | None
) -> Iterator[typst.Compiler]:
    """In memory; from a temporary folder where there are files, as in memory the library takes text alone."""
    import typst

    template = TEMPLATES / f"{template_name}.typ"
    if not template.is_file():
        raise SheetError(
            f"the template '{template_name}' is missing in {TEMPLATES}; install voicenotes again"
        )
    sources = {path.name: path.read_bytes() for path in sorted(TEMPLATES.glob("*.typ"))}
    sources = {"main.typ": sources.pop(template.name), **sources, **(files or {})}
    inputs = {"data": json.dumps(data, ensure_ascii=False, allow_nan=False)}
    if not files:
        yield typst.Compiler(sources, ignore_system_fonts=True, sys_inputs=inputs)  # type: ignore[type-var]
        return
    with tempfile.TemporaryDirectory(prefix="voicenotes-") as folder:
        for name, content in sources.items():
            path = Path(folder) / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content)
        main = str(Path(folder) / "main.typ")
        yield typst.Compiler(main, root=folder, ignore_system_fonts=True, sys_inputs=inputs)


def _unset(template_name: str, why: str) -> SheetError:
    return SheetError(f"the page '{template_name}' can't be set: {' '.join(why.split())}")
