"""Tests of the quote book, on a real SQLite file and a real PostgreSQL server."""
