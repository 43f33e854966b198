"""The bench: the campaign file, reading logs, checking them."""
