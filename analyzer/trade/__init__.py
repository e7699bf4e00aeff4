"""What the trade knows, as tables with their sources, and the arithmetic of the bench: mixing, films, moisture, air."""
