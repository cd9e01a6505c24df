"""The user's own letter: laid out in a process of its own, joined to the packet by the page.

Run as a module it reads {"text", "facts", "css"} as JSON from standard input and writes {"pdfs"} or
{"problem", "row"}. A process of its own can be stopped and can be denied memory: a template that
loops without end, a picture of a thousand million points, a page that is never laid out ends there
and nowhere else. What the letter opens, styles or hides is a document of its own, of which nothing
but finished pages comes into the packet.
"""

from __future__ import annotations

import base64
import io
import json
import math
import os
import signal
import subprocess
import sys
import tempfile
import time
import unicodedata
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Final

from lateral_map.draw.packet.document import own_letter_html
from lateral_map.errors import ExportError, SiteError
from lateral_map.export.pdf import html_to_pdf

if TYPE_CHECKING:
    import pikepdf

# Of processor time, and by the clock once the rest of the packet, made meanwhile, is done: together
# they delay it by less than 5 s however busy the machine is. On two processors the letter's own
# work takes at most half of itself from the rest, and then it is waited for no longer than this.
MOST_SECONDS: Final = 4.0
PATIENCE_SECONDS: Final = 2.5
_MOST_MEMORY: Final = 1_000_000_000
_MOST_PAGES: Final = 12
_SMALLEST_PT, _LARGEST_PT = 200.0, 1300.0  # of a page's side; a tabloid's longer one has 1224
_LARGEST_PDF: Final = 20_000_000
_PACKAGE_FOLDER: Final = str(Path(__file__).parents[2])
_FIELDS: Final = "docs/how-to/refer-to-the-utility.md lists the fields a letter may use"


@contextmanager
def laid_out_apart(
    template: tuple[str, str],
    facts: Sequence[Mapping[str, object]],
    css: str,
    *,
    most_seconds: float = MOST_SECONDS,
    patience_seconds: float = PATIENCE_SECONDS,
) -> Iterator[Callable[[], list[bytes]]]:
    """Begin to lay out a letter (file name, text) once for each of ``facts``, in another process.

    Yields what waits for it and returns one PDF each, which raises ``SiteError`` with the letter's
    file and line: it may work for ``most_seconds``, and is waited for ``patience_seconds`` by the
    clock. What it started ends with the context.
    """
    name, text = template
    task = {"text": text, "facts": list(facts), "css": css, "seconds": math.ceil(most_seconds)}
    with tempfile.TemporaryFile() as asked, tempfile.TemporaryFile() as answered:
        asked.write(json.dumps(task).encode("ascii"))
        asked.seek(0)
        # -P: a file called jinja2.py in the folder worked in is not taken for the library.
        command = [sys.executable, "-P", "-m", __name__]
        paths = [_PACKAGE_FOLDER, *filter(None, [os.environ.get("PYTHONPATH")])]
        # The command is fixed; what a stranger wrote goes in as data.
        process = subprocess.Popen(  # noqa: S603
            command, stdin=asked, stdout=answered, stderr=subprocess.DEVNULL,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(paths)},
            start_new_session=True,
        )  # fmt: skip
        began = time.monotonic()

        def wait() -> list[bytes]:
            late = f"it was not done after {most_seconds:g} seconds of work"
            try:
                ended = process.wait(patience_seconds)
            except subprocess.TimeoutExpired:
                stopped = time.monotonic() - began
                raise letter_fault(name, f"it was not done after {stopped:.0f} seconds") from None
            if os.name == "posix" and ended == -signal.SIGXCPU:
                raise letter_fault(name, late)
            if ended != 0:
                raise letter_fault(name, "it took more time or memory than a letter needs")
            answered.seek(0)
            said = json.loads(answered.read())
            if "pdfs" not in said:
                raise letter_fault(name, said["problem"], said["row"])
            return [base64.b64decode(one) for one in said["pdfs"]]

        try:
            yield wait
        finally:
            if process.poll() is None:
                if os.name == "posix":
                    os.killpg(process.pid, signal.SIGKILL)
                else:
                    process.kill()
                process.wait()


def letter_fault(name: str, problem: str, row: int | None = None) -> SiteError:
    """Return the error that names a letter's fault."""
    return SiteError.of(f"the letter cannot be made: {problem[:200]}", _FIELDS, name, row)


def join_letter(packet: bytes, letter: bytes, at: int) -> bytes:
    """Return a packet with a letter's pages put in before page ``at`` (from 0), tags and all."""
    import pikepdf

    with pikepdf.open(io.BytesIO(packet)) as whole, pikepdf.open(io.BytesIO(letter)) as own:
        tree, document = whole.Root.StructTreeRoot, whole.Root.StructTreeRoot.K[0]
        numbers = tree.ParentTree.Nums
        free = 1 + max(int(numbers[k]) for k in range(0, len(numbers), 2))
        for k, page in enumerate(own.pages):
            # A link leads out of what is kept for good; a film or a form has no place in it.
            if "/Annots" in page:
                del page["/Annots"]
            page.StructParents = int(page.StructParents) + free
            whole.pages.insert(at + k, page)
        _drop_links(own.Root.StructTreeRoot.K[0])
        theirs = whole.copy_foreign(own.make_indirect(own.Root.StructTreeRoot))
        parts = list(theirs.K[0].K)
        for part in parts:
            part.P = document
        document.K = pikepdf.Array([*parts, *document.K])
        parents = theirs.ParentTree.Nums
        for k in range(0, 2 * len(own.pages), 2):
            numbers.extend([pikepdf.Integer(int(parents[k]) + free), parents[k + 1]])
        saved = io.BytesIO()
        whole.save(saved, deterministic_id=True)
    return saved.getvalue()


def _drop_links(document: pikepdf.Object) -> None:
    """Take out of a tree of tags what refers to links, which are on no page any more."""
    import pikepdf

    waiting = [document]
    while waiting:
        element = waiting.pop()
        for k in reversed(range(len(element.K))):
            if isinstance(element.K[k], pikepdf.Dictionary):
                if element.K[k].get("/Type") == "/OBJR":
                    del element.K[k]
                else:
                    waiting.append(element.K[k])


def require_whole(packet: bytes, needed: Iterable[str], figures: int) -> None:
    """Raise ``ExportError`` unless a finished packet's text holds all of ``needed``.

    It must hold at least so many ``figures`` that say in words what they show, too.
    """
    import pikepdf
    import pypdfium2

    words = ""
    with pypdfium2.PdfDocument(packet) as document:
        for page in document:
            words += _closed_up(page.get_textpage().get_text_range())
    for one in needed:
        if _closed_up(one) not in words:
            raise ExportError(f"the finished packet lacks {one[:80]!r}")
    with pikepdf.open(io.BytesIO(packet)) as pdf:
        told = sum(
            one.get("/S") == "/Figure" and "/Alt" in one
            for one in pdf.objects
            if isinstance(one, pikepdf.Dictionary) and not isinstance(one, pikepdf.Stream)
        )
    if told < figures:
        raise ExportError(f"the finished packet has {told} of its {figures} figures")


def _closed_up(words: str) -> str:
    return "".join(unicodedata.normalize("NFKC", words).split())


def main() -> None:
    """Lay out the letters on standard input."""
    asked = json.loads(sys.stdin.buffer.read())
    with suppress(ImportError):  # Windows: the clock alone holds there.
        import resource

        # No more memory, and no more work, than a letter needs.
        resource.setrlimit(resource.RLIMIT_AS, (_MOST_MEMORY, _MOST_MEMORY))
        resource.setrlimit(resource.RLIMIT_CPU, (asked["seconds"], asked["seconds"] + 1))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    answer: dict[str, object]
    try:
        pages = (own_letter_html(asked["text"], one, asked["css"]) for one in asked["facts"])
        answer = {"pdfs": [base64.b64encode(_on_paper(page)).decode("ascii") for page in pages]}
    except SiteError as error:
        (fault,) = error.faults
        answer = {"problem": fault.problem, "row": fault.row}
    sys.stdout.write(json.dumps(answer))


def _on_paper(page: str) -> bytes:
    """Return a letter's PDF. Raises ``SiteError`` for what is no letter once laid out."""
    import pikepdf

    try:
        content = html_to_pdf(page.encode("utf-8", "replace").decode())
    except ExportError as error:
        raise SiteError.of(str(error)) from None
    except MemoryError:
        raise SiteError.of("it asks for more memory than a letter needs") from None
    except (ArithmeticError, LookupError, TypeError, ValueError, AttributeError, OSError) as error:
        raise SiteError.of(f"it cannot be laid out ({type(error).__name__})") from None
    with pikepdf.open(io.BytesIO(content)) as pdf:
        sides = [float(side) for each in pdf.pages for side in each.mediabox[2:]]
        if len(pdf.pages) > _MOST_PAGES:
            raise SiteError.of(f"it takes {len(pdf.pages)} pages, {_MOST_PAGES} at most")
        if not all(_SMALLEST_PT <= side <= _LARGEST_PT for side in sides):
            raise SiteError.of("its pages are no paper's size")
    if len(content) > _LARGEST_PDF:
        raise SiteError.of("it is larger than a letter")
    return content


if __name__ == "__main__":
    main()
