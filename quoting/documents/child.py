"""Pages from standard input to PDFs on standard output: the process that a server renders in."""

from __future__ import annotations

import contextlib
import gc
import os
import select
import sys
import tempfile
from shutil import rmtree

from msgspec import msgpack

from quoting.documents.children import DONE, LAST_WORDS, REFUSED
from quoting.documents.page import Page
from quoting.documents.render import load_weasyprint, render
from quoting.errors import DocumentError
from quoting.piped_child import read_one, write_one

_WARMING_UP = Page(html="<html lang=en><title>.</title><p>.", css="")


def main() -> int:
    """Render what comes until nothing does; what cannot be rendered is answered with the reason."""
    with contextlib.suppress(ImportError, ValueError, OSError, IndexError):  # no limits on Windows
        import resource

        most = int(sys.argv[1])
        resource.setrlimit(resource.RLIMIT_AS, (most, most))
    tempfile.tempdir = sys.argv[2]
    answers = os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())  # nothing that prints can break an answer
    _get_ready()
    while (asked := read_one(sys.stdin.buffer)) is not None:
        try:
            write_one(answers, DONE + render(msgpack.decode(asked, type=Page)))
        except (DocumentError, RecursionError) as error:
            write_one(answers, REFUSED + f"{type(error).__name__}: {error}".encode())
        except MemoryError:  # what it holds is unknown: a new child takes the next page
            write_one(answers, LAST_WORDS + b"DocumentError: the page needs more memory than it may have")
            return 1
    return 0


def _get_ready() -> None:
    """Load WeasyPrint; where no page waits by then, make it warm too."""
    gc.disable()  # nothing of what is loaded is let go
    with contextlib.suppress(DocumentError):
        load_weasyprint()
        if not _a_page_waits():
            render(_WARMING_UP)
    gc.freeze()
    gc.enable()


def _a_page_waits() -> bool:
    try:
        return bool(select.select([sys.stdin.buffer], [], [], 0)[0])
    except OSError:  # Windows has it for sockets only
        return False


if __name__ == "__main__":
    try:
        sys.exit(main())
    finally:
        rmtree(sys.argv[2], ignore_errors=True)
