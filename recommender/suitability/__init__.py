"""4 the scoring model: criteria, ranking, reasons."""
