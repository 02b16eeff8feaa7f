"""
Artwork measured: what a picture will weigh in ink, cost in plates and ask of the press.

A file is read in a child process with limits on its memory and time, and never in this one. What reads
it (Pillow, pypdfium2, pikepdf, OpenCV) is the extra ``artwork``; Ghostscript tells separations apart.
"""

from quoting.artwork.measured import UPLOADED, WITHIN_SHOP, Artwork, FormArtwork, Limits
from quoting.artwork.measuring import measure_artwork

__all__ = ["UPLOADED", "WITHIN_SHOP", "Artwork", "FormArtwork", "Limits", "measure_artwork"]
