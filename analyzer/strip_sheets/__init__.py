"""The printable edge strips: what is drawn, on which sheet, in which file."""
