"""The REST API over the library. It imports ``quoting``; never the reverse."""
