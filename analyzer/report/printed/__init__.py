"""The parts of report.pdf: what stands on the page, laid out for paper. Nothing is computed here but places."""
