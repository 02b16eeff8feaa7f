"""The API, asked as a client would."""
