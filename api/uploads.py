"""A file as the body of a request: put by on disk as it comes, so that many at once take no memory."""

from __future__ import annotations

from collections.abc import AsyncGenerator
from contextlib import asynccontextmanager, closing
from tempfile import TemporaryFile
from typing import TYPE_CHECKING, Any

from anyio import fail_after
from litestar import Request
from msgspec.structs import replace

from api.problems import ProblemError
from quoting.artwork import UPLOADED, Artwork, measure_artwork

if TYPE_CHECKING:
    from api.desk import Desk

UPLOAD_SECONDS = 60
_USUAL_NAMES = {"application/pdf": "artwork.pdf", "image/png": "artwork.png", "image/tiff": "artwork.tiff"}


class Upload:
    """A file that is being sent, without a name on disk, and the media type that it is sent as."""

    def __init__(self, media_type: str) -> None:
        self.media_type = media_type
        self._file = TemporaryFile(prefix="upload-")  # noqa: SIM115  # closed by ``uploaded``

    def write(self, part: bytes) -> None:
        """Put a part by."""
        self._file.write(part)

    def read(self) -> bytes:
        """All of it."""
        self._file.seek(0)
        return self._file.read()

    def close(self) -> None:
        """Let go of it."""
        self._file.close()


@asynccontextmanager
async def uploaded(request: Request[Any, Any, Any], desk: Desk, media_type: str) -> AsyncGenerator[Upload, None]:
    """
    The file that a request sends, until it is answered.

    Raises:
        ArtworkBusyError: as many are being sent as may be.
        ProblemError: it does not come in time.
    """
    with desk.place_for_upload(), closing(Upload(media_type)) as upload:
        await _receive(request, upload)
        yield upload


async def _receive(request: Request[Any, Any, Any], upload: Upload) -> None:
    try:
        with fail_after(UPLOAD_SECONDS):
            async for part in request.stream():
                upload.write(part)
    except TimeoutError as error:
        raise ProblemError("invalid-request", f"expected the whole file within {UPLOAD_SECONDS} s") from error


async def measured(
    desk: Desk, upload: Upload, name: str, *, dots_an_inch: int | None = None
) -> tuple[bytes, Artwork]:
    """
    What was sent, and what it measures.

    Args:
        name: What it is called; an ending of its kind is supposed where it has no name.

    Raises:
        ArtworkError: it is refused, or cannot be measured now.
    """
    limits = replace(UPLOADED, bytes=desk.settings.most_artwork_bytes)
    called = name or _USUAL_NAMES[upload.media_type]

    def work() -> tuple[bytes, Artwork]:
        content = upload.read()
        return content, measure_artwork(content, called, upload.media_type, limits=limits, dots_an_inch=dots_an_inch)

    return await desk.artwork(work)
