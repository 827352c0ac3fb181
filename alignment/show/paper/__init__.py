"""PDF: the record and the sheet."""
