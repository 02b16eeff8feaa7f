"""One page from standard input to one PDF on standard output: the process that a server renders in."""

from __future__ import annotations

import contextlib
import sys

from msgspec import json

from quoting.documents.render import MOST_MEMORY_BYTES, Page, render
from quoting.errors import DocumentError


def main() -> int:
    """Render, or say in one line why not."""
    with contextlib.suppress(ImportError, ValueError, OSError):  # no limits on Windows
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY_BYTES, MOST_MEMORY_BYTES))
    page = json.decode(sys.stdin.buffer.read(), type=Page)
    try:
        sys.stdout.buffer.write(render(page))
    except (DocumentError, MemoryError) as error:
        print(error or "the page needs more memory than it may have", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
