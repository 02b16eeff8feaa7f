"""Artwork measured: against exact areas, against general imaging tools, against hostile files."""
