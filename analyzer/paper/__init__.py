"""What every printed page of the tool shares: paper, type, tables, swatches, pictures, as a PDF."""
