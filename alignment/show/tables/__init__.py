"""Results as tables for spreadsheets and notebooks."""
